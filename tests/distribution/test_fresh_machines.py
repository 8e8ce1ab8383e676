"""The package as strangers get it: sdist and wheel, and the README's two commands with every Python of this machine.

Slow, and they need a package index: ``pytest tests/distribution -m slow``.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import tarfile
import zipfile
from email.parser import Parser
from pathlib import Path

import pytest
from machines import LOWEST_VERSIONS, pythons

import lowest_versions

ROOT = Path(__file__).parents[2]
pytestmark = [pytest.mark.slow, pytest.mark.timeout(1200)]

TRIED = (
    *("tests/unit/test_log_damage.py", "tests/unit/test_log_store.py", "tests/unit/test_other_systems.py"),
    *("tests/unit/test_extras.py", "tests/unit/test_pipeline.py"),
)
"""What of the suite runs on the other machines: reading, measuring, the log and its damage, other systems."""


def run(*words: str | Path, cwd: Path, **more: str) -> str:
    kept = {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "VIRTUAL_ENV")}
    own = {"ARMARC_LOG": str(cwd / "own" / "log.sqlite"), "ARMARC_CONFIG_DIR": str(cwd / "own")}
    # Of ten thousand modules a tenth is used; pip's word for "do not compile" is a no.
    own["PIP_NO_COMPILE"] = "0"
    done = subprocess.run(
        [str(word) for word in words],
        cwd=cwd,
        env=kept | own | more,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, f"{words}\n{done.stdout[-3000:]}\n{done.stderr[-3000:]}"
    return done.stdout


def checkout(to: Path) -> Path:
    """A clean copy of what is under version control."""
    if not (ROOT / ".git").exists():
        pytest.skip("not a checkout")
    for name in run("git", "ls-files", "-z", cwd=ROOT).split("\0"):
        if name and (ROOT / name).exists():
            (to / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, to / name)
    return to


def readme_commands() -> tuple[str, str]:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    first, second = re.findall(r"^python3 -m venv .*$", readme, re.M)
    return first, second


def test_the_wheel_and_the_sources_carry_what_belongs_to_them(tmp_path):
    source = checkout(tmp_path / "source")
    run(sys.executable, "-m", "build", "--outdir", tmp_path / "dist", source, cwd=tmp_path)
    wheel, sdist = (next((tmp_path / "dist").glob(ending)) for ending in ("*.whl", "*.tar.gz"))
    run(sys.executable, "-m", "twine", "check", "--strict", wheel, sdist, cwd=tmp_path)
    with zipfile.ZipFile(wheel) as packed:
        names = set(packed.namelist())
        info = next(name.split("/")[0] for name in names if ".dist-info/" in name)
        metadata = Parser().parsestr(packed.read(f"{info}/METADATA").decode())
    top = {name.split("/")[0] for name in names}
    assert top == {"armarc", info}, "nothing beside the package"
    for name in (
        "about/LICENSE",
        "about/changes.md",
        "about/citing.md",
        "about/wrist-profile.md",
        "py.typed",
    ):
        assert f"armarc/{name}" in names
    code = {
        path.relative_to(source / "src").as_posix()
        for path in (source / "src").rglob("*")
        if path.is_file() and path.name != "FINDINGS.md"  # for those who change the code: with the sources
    }
    assert code <= names, "every module and every page, picture and table beside it"
    assert not any(name.endswith("FINDINGS.md") for name in names)
    assert any(name.startswith(f"{info}/licenses/") for name in names)
    assert metadata["Author"] == "armarc contributors"
    assert metadata["License-Expression"] == "MIT"
    systems = {
        line.split(" :: ")[-1] for line in metadata.get_all("Classifier") if line.startswith("Operating")
    }
    assert systems == {"Linux", "MacOS", "Windows"}
    text = metadata.get_payload()
    for target in re.findall(r"\]\(([^)]+)\)", text):
        assert target.startswith(("https://", "#")), "an index has nothing that lies beside the text"
    assert "The picture that" in text
    with tarfile.open(sdist) as packed:
        inside = {name.split("/", 1)[1] for name in packed.getnames() if "/" in name}
    assert {"README.md", "DEVELOPERS.md", "pyproject.toml", "src/armarc/about/LICENSE"} <= inside
    assert "src/armarc/reps/FINDINGS.md" in inside
    assert {"recordings/strict-raise.csv", "tests/unit/test_pipeline.py"} <= inside


def first_five_minutes(armarc: Path, away: Path) -> None:
    """What a stranger tries, with nothing but the installed program."""
    away.mkdir()
    run(armarc, "demo", "--only", "strict-raise", cwd=away)
    recording = "armarc-demo/strict-raise.csv"
    result = json.loads(run(armarc, "process", recording, "--json", cwd=away))
    assert result["sets"][0]["summary"]["reps"] == 8
    run(armarc, "process", recording, "--plot", "set.png", "--csv", "reps.csv", "--log", cwd=away)
    assert (away / "set.png").read_bytes().startswith(b"\x89PNG")
    assert run(armarc, "log", "list", cwd=away).count("\n") == 2
    events = run(armarc, "live", "--from", recording, "--speed", "max", cwd=away).splitlines()
    assert sum(json.loads(line)["event"] == "rep ended" for line in events) >= 8
    for page in ("changes", "licence", "citing", "profile"):
        assert run(armarc, "about", page, cwd=away)
    assert str(away / "own") in run(armarc, "about", cwd=away)
    for words in (["exercises"], ["settings"], ["lifter", "show"], ["plan", "--load", "6kg"]):
        assert run(armarc, *words, cwd=away)


@pytest.mark.parametrize("name", pythons())
def test_a_fresh_machine(name, tmp_path):
    source, python = checkout(tmp_path / "source"), pythons()[name]
    first, second = (command.replace("python3 ", f"{python} ", 1) for command in readme_commands())
    run("bash", "-c", first, cwd=source)
    assert (source / "strict-raise.png").read_bytes().startswith(b"\x89PNG")
    ours = source / ".venv" / "bin"
    run(ours / "pip", "check", cwd=source)
    first_five_minutes(ours / "armarc", tmp_path / "away")
    if name != f"python3.{sys.version_info[1]}":  # that one runs all of the suite
        assert " passed" in run("bash", "-c", f"{second} {' '.join(TRIED)}", cwd=source)
        run(ours / "pip", "check", cwd=source)


@pytest.mark.parametrize("name", [LOWEST_VERSIONS])
def test_old_libraries(name, tmp_path):
    source, (python, *_) = checkout(tmp_path / "source"), pythons().values()
    (tmp_path / "lowest.txt").write_text("\n".join(lowest_versions.constraints(source / "pyproject.toml")))
    run(python, "-m", "venv", ".venv", cwd=source)
    ours = source / ".venv" / "bin"
    run(ours / "pip", "install", "-q", "-c", tmp_path / "lowest.txt", ".[test]", cwd=source)
    run(ours / "pip", "check", cwd=source)
    first_five_minutes(ours / "armarc", tmp_path / "away")
    # Old libraries warn of newer ones under them; that is not ours to hear.
    words = ("-m", "pytest", "-W", "ignore::DeprecationWarning", *TRIED)
    assert " passed" in run(ours / "python", *words, cwd=source)
