"""Questions on a terminal: each with what is assumed when nothing is typed, asked again until the answer is good."""

import sys
from collections.abc import Callable
from typing import TypeVar

from duskhold.faces.answer import Wrong
from duskhold.faces.wording import say, wrapped

Value = TypeVar("Value")


def ask(question: str, assumed: str, reader: Callable[[str], Value]) -> Value | None:
    """What `reader` makes of the answer; None for an answer of `-`, or for none where nothing is assumed.

    `reader` raises `ValueError` with a sentence for an answer that it cannot take.
    """
    shown = f" [{assumed}]" if assumed else " [leave out]"
    while True:
        try:
            typed = input(f"{wrapped(f'{question}{shown}:', sys.stdout)} ").strip() or assumed
        except KeyboardInterrupt:
            print()  # the question is left on a row of its own
            raise
        except EOFError:
            print()
            raise Wrong("interrupted", "No more answers came.", exit_status=130) from None
        if typed in ("", "-"):
            return None
        try:
            return reader(typed)
        except ValueError as error:
            say(f"  {error}")
