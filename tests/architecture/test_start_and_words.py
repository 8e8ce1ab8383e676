"""The command line starts light, every command explains itself, and the files speak of the project alone."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest
import typer

ROOT = Path(__file__).parents[2]
HEAVY = (
    "numpy",
    "scipy",
    "pandas",
    "bleak",
    "matplotlib",
    "sqlalchemy",
    "ahrs",
    "jinja2",
    "starlette",
    "uvicorn",
    "websockets",
    "cryptography",
    "segno",
)


def child(code: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_the_command_line_loads_nothing_heavy():
    loaded = child(
        "import sys\n"
        "from armarc.cli import app, commands\n"
        "commands.register(app.app)\n"
        "print(*sorted({name.split('.')[0] for name in sys.modules}))"
    ).split()
    assert "typer" in loaded
    assert set(HEAVY) & set(loaded) == set()


def test_measuring_a_short_file_loads_no_library_it_does_without():
    """Neither the database of the log, which a mere name of a place would need, nor pandas, nor pictures."""
    loaded = child(
        "import contextlib, io, sys\n"
        "from armarc.cli import main\n"
        f"sys.argv = ['armarc', 'process', {str(ROOT / 'recordings' / 'strict-raise.csv')!r}]\n"
        "with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):\n"
        "    main()\n"
        "print(*sorted({name.split('.')[0] for name in sys.modules}))"
    ).split()
    assert "numpy" in loaded
    assert {"sqlalchemy", "pandas", "matplotlib", "scipy"} & set(loaded) == set()


def test_a_live_session_without_the_log_loads_no_database():
    """It is a quarter of the time from the command to the first sample."""
    loaded = child(
        "import contextlib, io, sys\n"
        "from armarc.cli import main\n"
        f"sys.argv = ['armarc', 'live', '--from', {str(ROOT / 'recordings' / 'strict-raise.csv')!r}]\n"
        "sys.argv += ['--json', '--speed', 'max']\n"
        "with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):\n"
        "    main()\n"
        "assert 'armarc.live.engine' in sys.modules\n"
        "print(*sorted({n.split('.')[0] for n in sys.modules}))"
    ).split()
    assert {"sqlalchemy", "pandas", "matplotlib", "scipy"} & set(loaded) == set()


def test_importing_the_package_loads_nothing_heavy():
    loaded = child("import sys, armarc\nprint(*sorted({n.split('.')[0] for n in sys.modules}))").split()
    assert (set(HEAVY) | {"typer", "rich"}) & set(loaded) == set()


def _commands():
    from armarc.cli import commands

    fresh = typer.Typer()
    commands.register(fresh)
    group = typer.main.get_command(fresh)
    pending = [((), group)]
    while pending:
        words, command = pending.pop()
        for name, below in (getattr(command, "commands", None) or {}).items():
            yield (*words, name), below
            pending.append(((*words, name), below))


@pytest.mark.parametrize(
    ("words", "command"), list(_commands()), ids=lambda v: " ".join(v) if isinstance(v, tuple) else ""
)
def test_every_command_and_option_explains_itself(words, command):
    assert (command.help or "").strip(), f"armarc {' '.join(words)} has no help"
    silent = [
        p.name for p in command.params if p.name != "help" and not (getattr(p, "help", None) or "").strip()
    ]
    assert silent == [], f"armarc {' '.join(words)}: options without help"


def test_every_command_is_in_the_readme():
    readme = (ROOT / "README.md").read_text()
    if len(readme.encode()) <= 2048:
        pytest.skip("the README is not written yet")
    named = {words[0] for words, _ in _commands()}
    missing = {name for name in named if not re.search(rf"armarc {re.escape(name)}\b", readme)}
    assert missing == set()


PASSING = re.compile(r"\b(?:issue|ticket|pull request)\s+#?\d|/home/\w|\bTODO\b|\bFIXME\b", re.IGNORECASE)
"""What dates or places a text: numbers of a tracker, somebody's home folder, notes to oneself."""


def tracked() -> list[Path]:
    if not (ROOT / ".git").exists():
        pytest.skip("not a checkout")
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True)
    return [ROOT / name for name in listed.stdout.split("\0") if name]


def test_the_files_speak_of_the_project_alone():
    found = []
    for path in tracked():
        if path == Path(__file__) or not path.exists() or path.suffix in {".png", ".gz", ".csv"}:
            continue
        try:
            text = path.read_text()
        except UnicodeDecodeError:
            continue
        for number, line in enumerate(text.splitlines(), 1):
            if PASSING.search(line):
                found.append(f"{path.relative_to(ROOT)}:{number}: {line.strip()[:100]}")
    assert found == []


def test_passing_remarks_are_seen():
    for line in ("see issue #12", "/home/somebody/set.csv", "# TODO later"):
        assert PASSING.search(line)
    for line in ("the tissue", "homework/notes", "$HOME/.config"):
        assert not PASSING.search(line)


def test_file_names_are_plain():
    odd = [p.name for p in tracked() if not re.fullmatch(r"[A-Za-z0-9._+-]+", p.name)]
    assert odd == []


def test_measuring_a_raise_loads_neither_the_signal_package_nor_pandas():
    # They take half a second and a quarter: more than the measuring.
    script = (
        "import sys, armarc\n"
        "session = armarc.process(armarc.read_csv(sys.argv[1]))\n"
        "assert session.sets\n"
        "print(*sorted(name for name in ('scipy.signal', 'scipy.stats', 'pandas') if name in sys.modules))"
    )
    path = Path(__file__).parents[2] / "recordings" / "strict-raise.csv"
    done = subprocess.run(
        [sys.executable, "-c", script, str(path)], capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == []
