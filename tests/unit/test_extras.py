"""What an extra needs is named as this copy can get it: nothing says a name no index knows."""

from __future__ import annotations

import sys

import pytest

from armarc import computer

REQUIRES = [
    "numpy>=2.0",
    'pyarrow>=17; extra == "parquet"',
    "starlette>=0.40 ; extra == 'web'",
    'uvicorn>=0.30; extra == "web"',
    'dbus-fast>=4; (sys_platform == "linux") and extra == "test"',
]


@pytest.fixture(autouse=True)
def installed(monkeypatch, tmp_path):
    monkeypatch.setattr("importlib.metadata.requires", lambda name: REQUIRES)
    monkeypatch.setattr(computer.sys, "prefix", str(tmp_path))
    return tmp_path


def test_pip_of_this_very_interpreter(monkeypatch):
    monkeypatch.setattr(computer.sys, "executable", "/opt/my venv/bin/python")
    assert computer.how_to_add("web") == (
        'add it with: "/opt/my venv/bin/python" -m pip install "starlette>=0.40" "uvicorn>=0.30"'
    )
    assert "numpy" not in computer.how_to_add("parquet")


def test_an_environment_of_pipx_is_reached_through_it(installed):
    (installed / "pipx_metadata.json").write_text("{}")
    assert computer.how_to_add("parquet") == 'add it with: pipx inject armarc "pyarrow>=17"'


def test_a_tool_environment_is_named_by_its_interpreter(installed):
    (installed / "uv-receipt.toml").write_text("")
    assert (
        computer.how_to_add("parquet")
        == f'add it with: uv pip install --python {sys.executable} "pyarrow>=17"'
    )


def test_sources_that_were_never_installed(monkeypatch):
    def nothing(name):
        raise extras_error(name)

    from importlib.metadata import PackageNotFoundError as extras_error

    monkeypatch.setattr("importlib.metadata.requires", nothing)
    assert "armarc[web]" in computer.how_to_add("web")


def test_the_real_metadata_knows_every_extra_the_code_asks_for(monkeypatch):
    monkeypatch.undo()
    for extra in ("web", "sound", "archive", "cluster", "parquet", "postgres"):
        assert "armarc[" not in computer.how_to_add(extra)
