"""Places as people write them."""

import pytest

from duskhold.light.place import BadPlace, Place, parse_place


def test_north_and_east_are_positive() -> None:
    assert parse_place("-33.9,18.4") == Place(-33.9, 18.4)
    assert parse_place(" 57.32 , -5.61 ") == Place(57.32, -5.61)


@pytest.mark.parametrize("text", ["", "1", "1,2,3", "a,b", "91,0", "-90.1,0", "0,180.1", "nan,0", "0,inf"])
def test_what_is_no_place(text: str) -> None:
    with pytest.raises(BadPlace, match=r"LAT,LON|not between"):
        parse_place(text)
