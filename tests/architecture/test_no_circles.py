"""No file needs another that needs it: not at import, not inside a function, not for its types."""

from __future__ import annotations

import ast
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[2] / "src"


def sources() -> dict[str, str]:
    """Text of every module under its dotted name; a package stands for its ``__init__``."""
    found = {}
    for path in sorted((SOURCE / "armarc").rglob("*.py")):
        parts = path.relative_to(SOURCE).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path.read_text()
    return found


def needs(name: str, source: str, modules: set[str]) -> set[str]:
    """Modules that `source` imports anywhere; the version is the root's first line, there before anything else."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            for alias in node.names:
                inner = f"{node.module}.{alias.name}"
                if inner != "armarc.__version__":
                    found.add(inner if inner in modules else node.module)
    return (found & modules) - {name}


@pytest.fixture(scope="module")
def graph() -> dict[str, set[str]]:
    texts = sources()
    return {name: needs(name, text, set(texts)) for name, text in texts.items()}


def circle(graph: dict[str, set[str]]) -> list[str]:
    """Modules along a circle, the first one again at the end; empty when there is none."""
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        return list(error.args[1])
    return []


def test_no_file_stands_in_a_circle(graph):
    assert circle(graph) == []


@pytest.mark.parametrize(
    "planted",
    [
        "from armarc.pipeline import measure\n",
        "def f():\n    from armarc.pipeline import measure\n",
        "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    import armarc.pipeline\n",
    ],
)
def test_a_planted_circle_is_seen(graph, planted):
    low = "armarc.motion.angles"
    assert "armarc.pipeline" in circle(graph | {low: graph[low] | needs(low, planted, set(graph))})
