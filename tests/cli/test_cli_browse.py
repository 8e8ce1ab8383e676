"""``armarc browse``: what it says when it cannot start. The pages are tried in a real browser elsewhere."""

import socket
import sys

import pytest

from log_program import run, wide_log


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    return wide_log(tmp_path_factory.mktemp("wide"))


@pytest.mark.parametrize("name", ["uvicorn", "starlette"])
def test_a_missing_package_is_named_with_the_way_to_get_it(log, monkeypatch, name):
    monkeypatch.setitem(sys.modules, name, None)
    for loaded in [
        module for module in sys.modules if module.startswith((f"{name}.", "armarc.report.page_server"))
    ]:
        monkeypatch.delitem(sys.modules, loaded)
    said = run("browse", "--no-open", "--log-file", log, code=2)
    assert name in said.stderr
    assert "-m pip install" in said.stderr


def test_a_port_in_use_is_said(log):
    pytest.importorskip("uvicorn", reason="the extra armarc[web] is not installed")
    pytest.importorskip("starlette", reason="the extra armarc[web] is not installed")
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        said = run("browse", "--no-open", "--port", taken.getsockname()[1], "--log-file", log, code=2)
    assert "--port" in said.stderr
    run("browse", "--port", "70000", "--log-file", log, code=2)
