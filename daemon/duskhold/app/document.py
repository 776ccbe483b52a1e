"""YAML documents that a person wrote, read strictly and checked against a model.

Stricter than YAML 1.1: only `true` and `false` are booleans, numbers are decimal (no base 60, no leading
zero, no infinity), dates and clock times stay text, and there are no anchors, tags, duplicate or unknown
keys.
Every complaint names the file, the line, the field and what is allowed there.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

import yaml
from pydantic import BaseModel, ConfigDict, ValidationError

from duskhold.app.complaint import Location, Problem, field_name, not_yaml, problems_of

SIZE_MAX_BYTES = 1_000_000


class Part(BaseModel):
    """A part of a document: no unknown keys, no conversions, never changed."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


Model = TypeVar("Model", bound=Part)


class DocumentWrong(Exception):
    """A document that cannot be used; `problems` has at least one entry, in the order of its lines."""

    def __init__(self, path: Path, problems: tuple[Problem, ...]) -> None:
        super().__init__("\n".join(f"{path}, line {one.line}: {one.sentence}" for one in problems))
        self.path = path
        self.problems = problems


@dataclass(frozen=True, slots=True)
class Document:
    """Plain values (sequences are tuples), and the line on which each of them starts."""

    path: Path
    values: Mapping[str, object]
    lines: Mapping[Location, int]


def load(path: Path, model: type[Model]) -> Model:
    """The document at `path` as a `model`. Raises `DocumentWrong`, and `OSError` when it cannot be read."""
    return checked(read_document(path), model)


def checked(document: Document, model: type[Model]) -> Model:
    """What was read as a `model`. Raises `DocumentWrong`."""
    try:
        return model.model_validate(document.values)
    except ValidationError as error:
        raise DocumentWrong(document.path, problems_of(error, model, document.lines)) from None


def read_document(path: Path) -> Document:
    """Read without a model. Raises `DocumentWrong`, and `OSError` when it cannot be read."""
    raw = path.read_bytes()
    reading = _Reading(path)
    if len(raw) > SIZE_MAX_BYTES:
        raise reading.wrong(1, (), f"the file is larger than {SIZE_MAX_BYTES} bytes")
    try:
        root = _Loader(raw.decode()).get_single_node()
    except UnicodeDecodeError as error:
        raise reading.wrong(raw.count(b"\n", 0, error.start) + 1, (), "this is not text in UTF-8") from None
    except yaml.MarkedYAMLError as error:
        line, said = not_yaml(error)
        raise reading.wrong(line, (), f"this is not YAML: {said}") from None
    except yaml.reader.ReaderError as error:
        line = raw.decode().count("\n", 0, error.position) + 1
        raise reading.wrong(line, (), "there is a character here that YAML does not allow") from None
    return reading.document(root)


_TEXT, _BOOLEAN, _NOTHING, _WHOLE, _DECIMAL = (
    f"tag:yaml.org,2002:{kind}" for kind in ("str", "bool", "null", "int", "float")
)


_READERS: Mapping[str, Callable[[str], object]] = {
    _TEXT: str,
    _BOOLEAN: {"true": True, "false": False}.get,
    _NOTHING: lambda text: None,
    _WHOLE: int,
    _DECIMAL: float,
}


class _Loader(
    yaml.reader.Reader,
    yaml.scanner.Scanner,
    yaml.parser.Parser,
    yaml.composer.Composer,
    yaml.resolver.BaseResolver,
):
    """PyYAML's reader with our own idea of which plain words are more than text."""

    def __init__(self, text: str) -> None:
        yaml.reader.Reader.__init__(self, text)
        yaml.scanner.Scanner.__init__(self)
        yaml.parser.Parser.__init__(self)
        yaml.composer.Composer.__init__(self)
        yaml.resolver.BaseResolver.__init__(self)


for _tag, _pattern, _first_signs in (
    (_BOOLEAN, r"true|false", "tf"),
    (_NOTHING, r"null|~", "n~"),
    (_WHOLE, r"[-+]?(0|[1-9][0-9]*)", "-+0123456789"),
    (_DECIMAL, r"[-+]?((0|[1-9][0-9]*)(\.[0-9]*)?|\.[0-9]+)([eE][-+]?[0-9]+)?", "-+.0123456789"),
):
    _Loader.add_implicit_resolver(_tag, re.compile(f"^({_pattern})$"), list(_first_signs))
_Loader.add_implicit_resolver(_NOTHING, re.compile("^$"), [""])


@dataclass(slots=True)
class _Reading:
    path: Path
    lines: dict[Location, int] = field(default_factory=dict)
    seen: set[int] = field(default_factory=set)

    def document(self, root: yaml.Node | None) -> Document:
        values = None if root is None else self.value(root, ())
        if values is None:
            return Document(self.path, {}, {(): 1})
        if not isinstance(values, dict):
            raise self.wrong(self.lines[()], (), "the document must be a group of fields")
        return Document(self.path, values, self.lines)

    def value(self, node: yaml.Node, location: Location) -> object:
        line = node.start_mark.line + 1
        self.lines.setdefault(location, line)
        if id(node) in self.seen:
            raise self.wrong(line, location, "anchors and aliases (& and *) are not used here; write it out")
        self.seen.add(id(node))
        match node:
            case yaml.MappingNode(tag="tag:yaml.org,2002:map"):
                return self.group(node, location)
            case yaml.SequenceNode(tag="tag:yaml.org,2002:seq"):
                return tuple(self.value(item, (*location, index)) for index, item in enumerate(node.value))
            case yaml.ScalarNode(tag=tag) if tag in _READERS:
                return self.scalar(node, location)
        raise self.wrong(line, location, "tags (!) are not used here")

    def group(self, node: yaml.MappingNode, location: Location) -> dict[str, object]:
        values: dict[str, object] = {}
        for key_node, value_node in node.value:
            line = key_node.start_mark.line + 1
            if key_node.tag != _TEXT:
                raise self.wrong(line, location, f"the name of a field must be text, not {key_node.value!r}")
            place = (*location, key_node.value)
            if key_node.value in values:
                raise self.wrong(line, place, f"stands here twice, first on line {self.lines[place]}")
            self.lines[place] = line
            values[key_node.value] = self.value(value_node, place)
        return values

    def scalar(self, node: yaml.ScalarNode, location: Location) -> object:
        try:
            return _READERS[node.tag](node.value)
        except ValueError as error:
            raise self.wrong(node.start_mark.line + 1, location, f"cannot be read: {error}") from None

    def wrong(self, line: int, location: Location, sentence: str) -> DocumentWrong:
        name = field_name(location)
        return DocumentWrong(self.path, (Problem(line, name, f"{name}: {sentence}" if name else sentence),))
