"""What people said of a frame afterwards, as its record has it."""

from collections.abc import Mapping
from typing import Any


def words_of(record: Mapping[str, Any]) -> list[str]:
    """In words, oldest first."""
    return [str(remark["text"]) for remark in record.get("remarks") or () if remark["text"]]


def last_said(record: Mapping[str, Any], name: str) -> Any:
    """`keep` or `stars` by the last remark that has it; None where none does."""
    said = [remark[name] for remark in record.get("remarks") or () if remark[name] is not None]
    return said[-1] if said else None


def judged(record: Mapping[str, Any]) -> str:
    """`keep, 4 stars`, as it was said last; empty where nobody did."""
    stars = last_said(record, "stars")
    words = (
        {None: "", True: "keep", False: "reject"}[last_said(record, "keep")],
        "" if stars is None else f"{stars} star" + ("s" if stars > 1 else ""),
    )
    return ", ".join(word for word in words if word)
