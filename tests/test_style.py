"""The house rules that no other tool holds: sizes, names, the top level of the repository, what a file may not say."""

import ast
import re
import subprocess
from collections.abc import Iterator
from functools import cache
from pathlib import Path

REPOSITORY = Path(__file__).parents[1]
PACKAGE = REPOSITORY / "daemon" / "duskhold"

MODULE_LINES_MAX = 450
FUNCTION_LINES_MAX = 70
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "daemon", "config", "tests", "hardware-notes"}
NAMES_THAT_SAY_NOTHING = {"utils", "util", "helpers", "helper", "manager", "base", "common", "misc", "tools"}

LEFT_FOR_LATER = re.compile(r"\b(TODO|FIXME|XXX|HACK)\b")  # style: these words are named here and nowhere else
ALWAYS_TRUE = re.compile(r"^\s*assert True\b|pytest\.(skip|xfail)\(|mark\.(skip|xfail)\b")

Function = ast.FunctionDef | ast.AsyncFunctionDef


@cache
def committed() -> tuple[Path, ...]:
    """Files that git knows or would take."""
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"],
        cwd=REPOSITORY,
        capture_output=True,
        text=True,
        check=True,
    )
    names = [name for name in listed.stdout.split("\0") if name]
    return tuple(REPOSITORY / name for name in names if (REPOSITORY / name).is_file())


def modules(*folders: str) -> list[Path]:
    """Python files under the folders of the repository."""
    return [path for path in committed() if path.suffix == ".py" and path.relative_to(REPOSITORY).parts[0] in folders]


def functions(path: Path) -> Iterator[Function]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, Function):
            yield node


def where(path: Path, line: int) -> str:
    return f"{path.relative_to(REPOSITORY)}:{line}"


def lines_that_match(pattern: re.Pattern[str], paths: list[Path]) -> list[str]:
    return [
        where(path, number)
        for path in paths
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1)
        if pattern.search(line)
    ]


def test_git_lists_this_file() -> None:
    assert Path(__file__) in committed()
    assert len(modules("daemon")) > 20


def test_the_top_level_is_exactly_what_it_should_be() -> None:
    found = {path.relative_to(REPOSITORY).parts[0] for path in committed()}
    assert {name for name in found if not name.startswith(".")} <= TOP_LEVEL


def test_modules_are_small() -> None:
    sizes = {path: len(path.read_text(encoding="utf-8").splitlines()) for path in modules("daemon", "tests")}
    assert [where(path, size) for path, size in sizes.items() if size > MODULE_LINES_MAX] == []


def test_functions_are_short() -> None:
    long = [
        where(path, function.lineno)
        for path in modules("daemon", "tests")
        for function in functions(path)
        if (function.end_lineno or 0) - function.lineno + 1 > FUNCTION_LINES_MAX
    ]
    assert long == []


def test_modules_have_names_that_say_something() -> None:
    assert [path for path in modules("daemon") if path.stem in NAMES_THAT_SAY_NOTHING] == []


def test_every_module_says_what_it_is() -> None:
    silent = [
        path
        for path in modules("daemon", "tests")
        if not ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
    ]
    assert silent == []


def test_no_switch_hides_in_a_parameter() -> None:
    """`act(True)` says nothing where it is called: two functions, or a named choice, do."""
    switches = [
        where(path, function.lineno)
        for path in modules("daemon")
        for function in functions(path)
        if not function.name.startswith("_")
        for default in [*function.args.defaults, *function.args.kw_defaults]
        if isinstance(default, ast.Constant) and isinstance(default.value, bool)
    ]
    assert switches == []


def test_nothing_is_left_for_later() -> None:
    assert (
        lines_that_match(LEFT_FOR_LATER, [path for path in modules("daemon", "tests") if path != Path(__file__)]) == []
    )


def test_every_test_can_fail() -> None:
    assert lines_that_match(ALWAYS_TRUE, [path for path in modules("tests") if path != Path(__file__)]) == []


def test_no_file_knows_where_this_checkout_lies() -> None:
    """A checkout means the same everywhere; home is written ~ or $HOME."""
    here = re.compile("|".join(re.escape(f"{folder}/") for folder in (REPOSITORY, Path.home()) if folder != Path("/")))
    texts = [path for path in committed() if path.suffix not in {".png", ".jpg", ".dng"}]
    assert lines_that_match(here, texts) == []
