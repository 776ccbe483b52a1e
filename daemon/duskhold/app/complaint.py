"""What is wrong in a document, said with the field and what is allowed there."""

import difflib
import types
import typing
from collections.abc import Mapping
from dataclasses import dataclass

import yaml
from pydantic import BaseModel, ValidationError

Location = tuple[str | int, ...]


@dataclass(frozen=True, slots=True)
class Problem:
    """`field` is dotted, `filters[0].stops`; None where the document itself is at fault."""

    line: int
    field: str | None
    sentence: str


def problems_of(error: ValidationError, model: type[BaseModel], lines: Mapping[Location, int]) -> tuple[Problem, ...]:
    """Every complaint of the model as a `Problem`, in the order of the lines."""
    found = [_problem(dict(detail), model, lines) for detail in error.errors(include_url=False)]
    return tuple(sorted(found, key=lambda one: one.line))


def field_name(location: Location) -> str | None:
    """`("filters", 0, "stops")` is `filters[0].stops`; the empty location has no name."""
    name = ""
    for part in location:
        if isinstance(part, int):
            name += f"[{part}]"
        else:
            name += f".{part}" if name else part
    return name or None


def problem_at(field: str | None, said: str, lines: Mapping[Location, int]) -> Problem:
    """A complaint about a field given by its dotted name, on its line or that of the nearest part around it."""
    location: Location = () if field is None else tuple(field.split("."))
    return Problem(_line(location, lines), field, f"{field}: {said}" if field else said)


def not_yaml(error: yaml.MarkedYAMLError) -> tuple[int, str]:
    """The line, and what is likely to be wrong there in the words of whoever wrote it."""
    problem = error.problem or error.context or "it ends too soon"
    begins = next(((said, is_open) for start, said, is_open in _NOT_YAML if problem.startswith(start)), None)
    mark = error.problem_mark or error.context_mark
    if begins is None:
        return (mark.line + 1 if mark else 1), problem
    said, is_open = begins
    if is_open and error.context_mark is not None:
        mark = error.context_mark
    return (mark.line + 1 if mark else 1), said


_INDENT = "this line is indented differently from the fields beside it"
_NOT_YAML = (
    ("mapping values are not allowed", f"{_INDENT}, or has a second colon: text with a colon needs quotes", False),
    ("expected <block end>", f"{_INDENT}, or something before it is not closed", False),
    ("found character '\\t'", "a tab stands here; indent with spaces", False),
    ("found character", "text that begins with such a sign needs quotes", False),
    ("could not find expected ':'", "a field has no colon after its name", True),
    ("found unexpected end of stream", "a quote that begins here is never closed", True),
    ("expected ',' or ']'", "a list that begins here is never closed, or lacks a comma", True),
    ("expected ',' or '}'", "a group that begins here is never closed, or lacks a comma", True),
    ("but found another document", "a second document begins here; a file has one", False),
)
"""What the library says at its beginning, what a person should look for, and whether that lies where it began."""


def _problem(detail: dict[str, object], model: type[BaseModel], lines: Mapping[Location, int]) -> Problem:
    location = typing.cast(Location, detail["loc"])
    said = _sentence(detail, location, model)
    field = field_name(location)
    return Problem(_line(location, lines), field, f"{field}: {said}" if field else said)


def _line(location: Location, lines: Mapping[Location, int]) -> int:
    # What is missing has no line of its own: the nearest part around it has.
    while location not in lines:
        location = location[:-1]
    return lines[location]


def _sentence(detail: dict[str, object], location: Location, model: type[BaseModel]) -> str:
    limits = typing.cast(Mapping[str, object], detail.get("ctx", {}))
    given = detail.get("input")
    match detail["type"]:
        case "missing":
            return "is missing"
        case "extra_forbidden":
            return _unknown(str(location[-1]), _fields_at(model, location[:-1]))
        case "greater_than" | "greater_than_equal" | "less_than" | "less_than_equal":
            (bound,) = limits.values()
            return f"must be {_BOUNDS[str(detail['type'])]} {bound:g}, not {given}"
        case "literal_error":
            return f"must be one of {limits['expected']}, not {_shown(given)}"
        case "value_error":
            return str(limits["error"])
    kind = _KINDS.get(str(detail["type"]))
    return f"must be {kind}, not {_shown(given)}" if kind else str(detail["msg"])


_BOUNDS = {
    "greater_than": "more than",
    "greater_than_equal": "at least",
    "less_than": "less than",
    "less_than_equal": "at most",
}

_KINDS = {
    "string_type": "text",
    "bool_type": "true or false",
    "int_type": "a whole number",
    "float_type": "a number",
    "finite_number": "a finite number",
    "tuple_type": "a list",
    "model_type": "a group of fields",
    "model_attributes_type": "a group of fields",
    "dict_type": "a group of fields",
    "string_too_short": "some text",
    "too_short": "a longer list",
    "too_long": "a shorter list",
    "dataclass_exact_type": "a mark of the camera's dial, such as 1/8, f/8 or 100",
    "date_type": "a day such as 2026-10-14",
    "datetime_type": "a moment with its zone, such as 2026-10-14T17:20:00Z",
}


def _shown(given: object) -> str:
    match given:
        case None:
            return "empty"
        case True | False:
            return str(given).lower()
        case tuple():
            return "a list"
        case dict():
            return "a group of fields"
    said = repr(given)
    return said if len(said) <= _SHOWN_MAX else f"{said[:_SHOWN_MAX]}…"


_SHOWN_MAX = 60


def _unknown(name: str, known: tuple[str, ...]) -> str:
    close = difflib.get_close_matches(name, known, n=1)
    meant = f" (did you mean {close[0]}?)" if close else ""
    return f"is not known here{meant}; known are {', '.join(known)}"


def _fields_at(model: type[BaseModel], location: Location) -> tuple[str, ...]:
    for part in location:
        if isinstance(part, str):
            model = _model_in(model.model_fields[part].annotation)
    return tuple(model.model_fields)


def _model_in(annotation: object) -> type[BaseModel]:
    if isinstance(annotation, type) and not isinstance(annotation, types.GenericAlias):
        assert issubclass(annotation, BaseModel)
        return annotation
    models = [part for part in typing.get_args(annotation) if part not in (None, type(None), Ellipsis)]
    return _model_in(models[0])
