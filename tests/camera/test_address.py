"""Camera addresses as people write them."""

import pytest

from duskhold.camera.address import Address, Way, parse_address


@pytest.mark.parametrize(
    ("text", "address"),
    [
        ("simulated", Address(Way.SIMULATED)),
        ("usb", Address(Way.USB)),
        ("usb:0060-12A", Address(Way.USB, serial="0060-12A")),
        ("ptpip:127.0.0.1:15740:15741", Address(Way.PTPIP, "127.0.0.1", 15740, 15741)),
        ("ptpip:shore-body.local:1:65535", Address(Way.PTPIP, "shore-body.local", 1, 65535)),
    ],
)
def test_reads_and_writes_back(text: str, address: Address) -> None:
    assert parse_address(text) == address
    assert str(address) == text


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "simulated, usb, usb:SERIAL or ptpip"),
        ("USB", "simulated, usb, usb:SERIAL or ptpip"),
        ("http:10.0.0.1:80:80", "simulated, usb, usb:SERIAL or ptpip"),
        ("usb:", "no serial number"),
        ("usb:6012:3", "no serial number"),
        ("usb:001,014", "is a port"),
        ("ptpip:10.0.0.1", "two ports"),
        ("ptpip:10.0.0.1:15740", "two ports"),
        ("ptpip::15740:15740", "no host name"),
        ("ptpip:-x:15740:15740", "no host name"),
        ("ptpip:10.0.0.1:0:15740", "1 to 65535"),
        ("ptpip:10.0.0.1:15740:65536", "1 to 65535"),
        ("ptpip:10.0.0.1:15740:x", "no port"),
        ("ptpip:10.0.0.1:15740:²", "no port"),
    ],
)
def test_says_what_is_allowed(text: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        parse_address(text)
