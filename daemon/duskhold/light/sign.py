"""A number with its sign, as it stands in a sentence."""

from typing import Final

MINUS: Final = "−"


def signed(value: float, decimals: int) -> str:
    """`+0.61` or `−0.48`; no sign on what rounds to zero."""
    digits = f"{abs(value):.{decimals}f}"
    if float(digits) == 0.0:
        return digits
    return ("+" if value > 0.0 else MINUS) + digits
