"""What a command hands back: an answer to show, or what was wrong with the question."""

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Answer:
    """`body` is what `--json` prints; `show` writes the same for people on standard output."""

    body: dict[str, object]
    exit_status: int
    show: Callable[[], None]


class Wrong(Exception):
    """A request that cannot be answered; `cli` prints it and leaves with `exit_status`.

    `code` is one lower-case word or words joined by underscores, for programs; `message` is a sentence
    for people; `field` names the option or setting at fault; `hint` says what would make it possible.
    """

    def __init__(
        self,
        code: str,
        message: str,
        *,
        field: str | None = None,
        hint: str | None = None,
        exit_status: int = 2,
    ) -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.field = field
        self.hint = hint
        self.exit_status = exit_status

    def body(self) -> dict[str, object]:
        """The error object of the interface conventions."""
        return {"error": {"code": self.code, "message": self.message, "field": self.field, "hint": self.hint}}
