"""What the package offers is listed, shown by an example that runs, and documented as it is."""

from __future__ import annotations

import ast
import doctest
import inspect
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

import armarc

ROOT = Path(__file__).parents[2]
SOURCE = ROOT / "src" / "armarc"
VALUES = {"NOTHING_KEPT", "__version__"}
"""Names without a docstring of their own: the package's example shows them."""

SECTION = re.compile(r"^Parameters\n-+\n(.*?)(?=^\w[^\n]*\n---|\Z)", re.DOTALL | re.MULTILINE)


def documented(docstring: str) -> set[str]:
    """Names in the section on parameters; none where there is no such section."""
    found = SECTION.search(docstring)
    lines = [line for line in found[1].splitlines() if line and not line[0].isspace()] if found else []
    return {name.strip(" *`") for line in lines for name in line.split(" : ")[0].split(",")}


def parameters(node: ast.AST) -> set[str]:
    """What a function takes, or the fields of a class and what its constructor takes."""
    if isinstance(node, ast.ClassDef):
        fields = {s.target.id for s in node.body if isinstance(s, ast.AnnAssign) and hasattr(s.target, "id")}
        made = [s for s in node.body if isinstance(s, ast.FunctionDef) and s.name == "__init__"]
        return fields.union(*map(parameters, made))
    assert isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    named = node.args
    every = [*named.posonlyargs, *named.args, *named.kwonlyargs, named.vararg, named.kwarg]
    return {one.arg for one in every if one is not None} - {"self", "cls"}


def strangers(source: str) -> Iterator[str]:
    """What docstrings call a parameter and is none."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            takes = parameters(node)
            if takes or not isinstance(node, ast.ClassDef):
                odd = documented(ast.get_docstring(node) or "") - takes
                yield from (f"{node.name} documents {name}" for name in sorted(odd))


@pytest.fixture
def elsewhere(tmp_path, monkeypatch):
    """A folder with the demo recordings in it and nothing kept, so that examples write nowhere else."""
    shutil.copytree(ROOT / "recordings", tmp_path / "recordings")
    monkeypatch.setenv("ARMARC_CONFIG_DIR", str(tmp_path / "configuration"))
    monkeypatch.chdir(tmp_path)


def test_every_name_is_listed_and_there():
    assert set(armarc.__all__) <= set(dir(armarc))
    assert all(getattr(armarc, name) is not None for name in armarc.__all__)


@pytest.mark.parametrize("name", ["armarc", *sorted(set(armarc.__all__) - VALUES)])
def test_the_example_of_a_name_runs(name, elsewhere):
    thing = armarc if name == "armarc" else getattr(armarc, name)
    finder = doctest.DocTestFinder(recurse=name != "armarc")
    examples = [test for test in finder.find(thing, name, globs={}) if test.examples]
    assert examples, f"{name} has no example"
    runner = doctest.DocTestRunner()
    for test in examples:
        runner.run(test)
    assert runner.summarize(verbose=False).failed == 0


def test_the_example_of_the_package_shows_its_values():
    assert all(name in (armarc.__doc__ or "") for name in VALUES)


def test_no_docstring_has_a_parameter_that_is_none():
    found = {
        str(path.relative_to(SOURCE)): odd
        for path in sorted(SOURCE.rglob("*.py"))
        if (odd := list(strangers(path.read_text())))
    }
    assert found == {}


def test_a_stranger_is_seen():
    words = '"""Do.\n\n    Parameters\n    ----------\n    there : int\n    gone, away : int\n    """\n'
    planted = f"def f(there: int) -> None:\n    {words}"
    assert list(strangers(planted)) == ["f documents away", "f documents gone"]


@pytest.mark.parametrize("name", sorted(set(armarc.__all__) - VALUES))
def test_every_parameter_of_a_public_name_is_documented(name):
    thing = getattr(armarc, name)
    takes = set(inspect.signature(thing).parameters) - {"self"}
    if inspect.isclass(thing) and not documented(inspect.getdoc(thing) or ""):
        pytest.skip("fields that speak for themselves")
    said = documented(inspect.getdoc(thing) or "")
    assert takes - said == set()
