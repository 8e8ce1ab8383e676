"""The shape of the house: imports run one way, modules stay short, public names say what they are."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from importlib import import_module
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[2] / "src" / "armarc"

ALLOWED: dict[str, set[str]] = {
    room: set(needs.split())
    for room, needs in {
        # shared ground
        "errors": "",
        "files": "errors",
        "computer": "",
        "lazy": "",
        "strict_toml": "errors files",
        "quantities": "errors",
        "measures": "errors",
        "published": "errors measures",
        "outputs": "errors files",
        "exercises": "errors computer strict_toml published",
        "options": "errors strict_toml quantities exercises load",
        "settings": "computer strict_toml quantities exercises options",
        "tasks": "errors files computer quantities options",
        # the rooms, in the order of the data
        "recording": "lazy errors files",
        "sensor": "lazy errors files computer strict_toml recording motion",
        "motion": "errors recording",
        "reps": "measures exercises recording motion",
        # a planned rep is the one that is simulated, so that a plan and a measured rep mean the same
        "load": "lazy errors files computer strict_toml quantities measures recording motion reps simulate",
        # the road through them
        "choices": "errors quantities exercises options settings recording sensor motion load",
        "worn": "options recording motion choices",
        "arm_track": "recording motion choices worn guided_mount",
        "guided_mount": "errors recording sensor motion",
        "known_sensor": "recording sensor motion",
        "reference": "recording motion choices worn",
        "session_load": "computer motion reps load choices",
        "results": "errors measures published options recording motion reps load choices",
        "frames": "measures motion reps results",
        "moved_arm": "recording sensor motion reps choices arm_track reference",
        # its pictures of what was measured need nothing of the log
        "strapped_anew": "recording reps moved_arm",
        "pipeline": "__version__ errors recording motion reps load choices worn moved_arm strapped_anew "
        "session_load results frames report.session_figure report.set_figure",
        "trunk": "errors measures recording motion reps choices session_load results pipeline",
        "kept": "errors files computer strict_toml quantities exercises options settings recording load "
        "choices known_sensor",
        # what is done with the results
        "log": "__version__ lazy errors files computer strict_toml quantities measures published outputs "
        "exercises options recording motion reps load choices known_sensor results pipeline trunk "
        "kept",
        "report": "__version__ lazy errors quantities measures outputs exercises recording sensor motion reps load "
        "results log",
        "live": "errors files computer quantities measures published outputs exercises tasks recording sensor "
        "motion reps choices arm_track moved_arm known_sensor results pipeline trunk log",
        "archive": "__version__ errors files computer measures published exercises options recording reps "
        "choices results pipeline trunk kept",
        # a synthetic wrist is made without the code it is there to check
        "simulate": "errors files measures published recording",
        # faces
        "api": "errors options recording pipeline trunk kept",
        "__init__": "lazy errors recording load results pipeline api",
        "__main__": "cli",
    }.items()
}
"""What each room or module may import from inside the package, ``room.module`` that one of a room alone; ``cli`` may
import everything."""

LONGEST = 400
LONGEST_COMMAND = 460
"""A command's file is mostly the declaration of its options."""


def modules() -> list[Path]:
    return sorted(SOURCE.rglob("*.py"))


def room_of(path: Path) -> str:
    first = path.relative_to(SOURCE).parts[0]
    return first.removesuffix(".py")


@cache
def parsed(source: str) -> ast.Module:
    """A module's tree, made once for all that is asked of it; so are its nodes."""
    return ast.parse(source)


@cache
def nodes(source: str) -> tuple[ast.AST, ...]:
    return tuple(ast.walk(parsed(source)))


def imported(source: str) -> Iterator[tuple[int, str]]:
    """Line and full name of every import from inside the package, wherever it stands."""
    for node in nodes(source):
        if isinstance(node, ast.ImportFrom) and node.module:
            if node.module == "armarc":
                yield from ((node.lineno, f"armarc.{alias.name}") for alias in node.names)
            elif node.module.startswith("armarc."):
                yield node.lineno, node.module
        elif isinstance(node, ast.Import):
            yield from ((node.lineno, a.name) for a in node.names if a.name.startswith("armarc."))
        if isinstance(node, ast.ImportFrom) and node.level:
            yield node.lineno, "a relative import"


def violations(room: str, source: str) -> list[str]:
    if room == "cli":
        return []
    allowed = ALLOWED.get(room)
    if allowed is None:
        return [f"the room {room!r} is not in the table"]
    found = []
    for line, name in imported(source):
        other = name.split(".")[1] if "." in name else name
        if other != room and not {other, name.removeprefix("armarc.")} & allowed:
            found.append(f"line {line}: {room} imports {name}")
    return found


def test_imports_run_one_way():
    found = [
        f"{path.relative_to(SOURCE)} {text}"
        for path in modules()
        for text in violations(room_of(path), path.read_text())
    ]
    assert found == []


APPEARS = ("os.replace", "os.rename", "mkstemp", "NamedTemporaryFile", ".replace(path", ".rename(path")


def test_one_module_makes_files_appear():
    """`armarc.files` alone writes under another name and renames; moving what is whole already is another matter."""
    found = {
        path.relative_to(SOURCE).as_posix()
        for path in modules()
        if any(words in path.read_text() for words in APPEARS)
    }
    assert found == {"files.py", "log/location.py"}  # the latter moves a log of an older version to its place


def test_the_table_has_no_arrow_that_nobody_takes():
    taken: dict[str, set[str]] = {room: set() for room in ALLOWED}
    for path in modules():
        for _, name in imported(path.read_text()):
            whole = name.removeprefix("armarc.")
            taken.setdefault(room_of(path), set()).update({whole, whole.split(".")[0]})
    assert {room: unused for room, needs in ALLOWED.items() if (unused := needs - taken[room])} == {}


def test_a_planted_violation_is_seen():
    assert violations("motion", "from armarc.reps.types import Rep\n") == [
        "line 1: motion imports armarc.reps.types"
    ]
    # Hiding it inside a function does not help.
    assert violations("recording", "def f():\n    import armarc.motion.angles\n") == [
        "line 2: recording imports armarc.motion.angles"
    ]
    assert violations("load", "from armarc import live\n") == ["line 1: load imports armarc.live"]
    assert violations("reps", "from .types import Rep\n") == ["line 1: reps imports a relative import"]
    assert violations("newroom", "") == ["the room 'newroom' is not in the table"]
    assert violations("motion", "from armarc.recording import Recording\n") == []


def test_the_table_itself_has_no_circles():
    order: list[str] = []
    left = {room: set(needs) & set(ALLOWED) - {room} for room, needs in ALLOWED.items()}
    while left:
        free = [room for room, needs in left.items() if not needs - set(order)]
        assert free, f"a circle among {sorted(left)}"
        order += free
        left = {room: needs for room, needs in left.items() if room not in free}


def test_nothing_reaches_into_private_names_of_another_room():
    found = []
    for path in modules():
        for node in nodes(path.read_text()):
            if not isinstance(node, ast.ImportFrom) or not (node.module or "").startswith("armarc"):
                continue
            home = SOURCE.joinpath(*node.module.split(".")[1:]).parent
            for alias in node.names:
                if alias.name.startswith("_") and not alias.name.startswith("__") and home != path.parent:
                    found.append(f"{path.relative_to(SOURCE)}:{node.lineno} {node.module}.{alias.name}")
    assert found == []


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(SOURCE)))
def test_a_module_is_short(path):
    longest = LONGEST_COMMAND if room_of(path) == "cli" else LONGEST
    assert len(path.read_text().splitlines()) <= longest


WIDEST = 8


def too_wide(source: str) -> list[str]:
    """Functions with more keyword arguments than a reader can keep apart: they want an object."""
    return [
        f"line {node.lineno}: {node.name} has {len(node.args.kwonlyargs) + len(node.args.defaults)}"
        for node in nodes(source)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and len(node.args.kwonlyargs) + len(node.args.defaults) > WIDEST
    ]


def test_functions_are_narrow():
    # In cli the arguments are the options of commands.
    wide = {
        str(path.relative_to(SOURCE)): found
        for path in modules()
        if room_of(path) != "cli" and (found := too_wide(path.read_text()))
    }
    assert wide == {}


def test_a_planted_wide_function_is_seen():
    nine = ", ".join(f"{letter}: int = 0" for letter in "abcdefghi")
    assert too_wide(f"def f(*, {nine}): ...") == ["line 1: f has 9"]
    assert too_wide(f"class C:\n    def f(self, {nine}): ...") == ["line 2: f has 9"]
    assert too_wide(f"def f(x: int, *, {nine[: nine.rindex(',')]}): ...") == []


def documented(path: Path) -> Iterator[tuple[str, bool]]:
    tree = parsed(path.read_text())
    if path.name != "__main__.py":
        yield "the module", ast.get_docstring(tree) is not None
    for node in tree.body:
        if isinstance(
            node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef
        ) and not node.name.startswith("_"):
            yield node.name, ast.get_docstring(node) is not None


def test_public_names_are_documented():
    missing = [
        f"{path.relative_to(SOURCE)}: {name}"
        for path in modules()
        for name, is_documented in documented(path)
        if not is_documented
    ]
    assert missing == []


def test_the_offered_names_exist():
    for path in modules():
        tree = parsed(path.read_text())
        for node in tree.body:
            if not (isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "__all__"):
                continue
            offered = ast.literal_eval(node.value)
            assert len(offered) == len(set(offered)), path
            if path.name != "__init__.py" or path.parent == SOURCE:
                continue
            bound = {
                (alias.asname or alias.name)
                for inner in ast.walk(tree)
                if isinstance(inner, ast.ImportFrom | ast.Import)
                for alias in inner.names
            }
            bound |= {n.name for n in tree.body if isinstance(n, ast.FunctionDef | ast.ClassDef)}
            bound |= {
                t.id
                for n in tree.body
                if isinstance(n, ast.Assign)
                for t in n.targets
                if isinstance(t, ast.Name)
            }
            assert set(offered) <= bound, path


@pytest.mark.parametrize("package", ["armarc", "armarc.load", "armarc.log", "armarc.report", "armarc.sensor"])
def test_what_is_loaded_on_first_use_is_what_types_are_checked_by(package):
    """The names of the block for type checkers, each the very same thing from the module it names there."""
    module = import_module(package)
    tree = ast.parse(Path(module.__file__).read_text())
    block = next(n for n in tree.body if isinstance(n, ast.If) and ast.unparse(n.test) == "TYPE_CHECKING")
    homes = {alias.name: node.module for node in block.body for alias in node.names}
    assert set(homes) == set(module.__all__) - {"__version__"}
    for name, home in homes.items():
        assert getattr(module, name) is getattr(import_module(home), name), name
