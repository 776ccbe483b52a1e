"""The grammar of the command line: options that every command takes, and how its words are read."""

import argparse
import re
from collections.abc import Sequence
from typing import Any, NoReturn

from duskhold.faces.answer import Wrong

VALUED_OPTIONS = ("--settings", "--data")


_NUMBERS = {"int": "whole number", "float": "number"}
_NOT_A_NUMBER = re.compile("invalid (int|float) value: ('.*')", flags=re.DOTALL)


class Parser(argparse.ArgumentParser):
    """A parser whose complaints are `Wrong` and which does not guess at shortened options."""

    def __init__(self, **how: Any) -> None:
        super().__init__(allow_abbrev=False, **how)

    def error(self, message: str) -> NoReturn:
        named = re.fullmatch(r"argument ([^:]+): (.+)", message, flags=re.DOTALL)
        field, said = named.groups() if named else (None, message)
        said = _NOT_A_NUMBER.sub(lambda found: f"{found[2]} is no {_NUMBERS[found[1]]}", said)
        sentence = said[:1].upper() + said[1:].rstrip(".") + "."
        raise Wrong("usage", sentence, field=field, hint=f"`{self.prog} --help` shows what it takes.")


def add_common_options(parser: argparse.ArgumentParser, *, default: object = None) -> None:
    """The options that stand before or after the command's name.

    A command's own parser is given `argparse.SUPPRESS`, so that it does not undo what stood before its name.
    """
    common = parser.add_argument_group("options of every command")
    common.add_argument(
        "--json",
        action="store_const",
        const=True,
        default=default,
        help="print one JSON object on standard output and nothing else there",
    )
    common.add_argument("--settings", metavar="FILE", default=default, help="the settings file to use")
    common.add_argument("--data", metavar="DIR", default=default, help="the folder for frames and the journal")


def command_in(words: Sequence[str]) -> str | None:
    """The first word that is neither an option nor the value of one."""
    waiting = False
    for word in words:
        if waiting:
            waiting = False
        elif word in VALUED_OPTIONS:
            waiting = True
        elif not word.startswith("-"):
            return word
    return None


def with_values_joined(words: Sequence[str]) -> list[str]:
    """Join an option and a value such as `-33.9,18.4`, which argparse would take for an option itself."""
    joined: list[str] = []
    for word in words:
        if joined and _takes_value(joined[-1]) and _starts_like_negative_number(word):
            joined[-1] = f"{joined[-1]}={word}"
        else:
            joined.append(word)
    return joined


def _takes_value(word: str) -> bool:
    return word.startswith("--") and len(word) > 2 and "=" not in word


def _starts_like_negative_number(word: str) -> bool:
    # argparse reads whole negative numbers by itself, several after one option too.
    plain_number = re.fullmatch(r"-\d+|-\d*\.\d+", word)
    return re.match(r"-\.?\d", word) is not None and plain_number is None
