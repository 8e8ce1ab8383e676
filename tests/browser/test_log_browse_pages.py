"""``armarc browse`` as a program, used in a real browser."""

import os
import re
import signal
import subprocess
import sys
import urllib.error
import urllib.request

import pytest
from chromium import Browser
from fitting import LOOKS, faults

from armarc.log import Labels, list_sets, open_log
from armarc.log.changing import edit_sets, undo
from log_program import real_log

pytest.importorskip("starlette", reason="the extra armarc[web] is not installed")
pytest.importorskip("uvicorn", reason="the extra armarc[web] is not installed")


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    return real_log(tmp_path_factory.mktemp("real"))


@pytest.fixture(scope="module")
def first(log):
    """The address that is printed, good for one browser."""
    words = [sys.executable, "-m", "armarc", "browse", "--no-open", "--log-file", str(log)]
    process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    line = process.stdout.readline().strip()
    assert line, process.stderr.read()
    yield line
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=20)
    assert "Traceback" not in err


@pytest.fixture(scope="module")
def address(first):
    return first.partition("?")[0]


@pytest.fixture(scope="module")
def browser(first):
    opened = Browser()
    opened.open(first)
    yield opened
    opened.close()


def test_list_filter_open_and_compare_by_clicking(browser, address):
    browser.look(width=1000)
    browser.problems.clear()
    browser.requests.clear()
    browser.open(address)
    assert browser.run("document.querySelectorAll('tbody tr').length") == 6
    browser.keep("browse-list")
    browser.run("document.querySelector('select[name=side]').value = 'left'")
    browser.follow("form[aria-label=Filter] button.main")
    assert browser.run("document.querySelectorAll('tbody tr').length") == 2
    browser.follow("tbody th a")
    assert "Lateral raise" in browser.run("document.querySelector('h1').textContent")
    assert browser.run("document.querySelectorAll('svg').length") == 2
    browser.follow("nav a")
    assert browser.run("document.querySelectorAll('tbody tr').length") == 6
    browser.click("input[value='1']")
    browser.click("input[value='6']")
    browser.follow("button[form=compare]")
    assert "side by side" in browser.run("document.querySelector('h1').textContent")
    assert browser.run("document.querySelectorAll('svg').length") == 2
    assert browser.run("document.querySelectorAll('tbody tr').length") == 8
    browser.keep("browse-compare")
    browser.open(address)
    browser.follow("button[formaction]")
    assert "Training from" in browser.run(
        "document.querySelector('h1').textContent"
    ) or "Session" in browser.run("document.querySelector('h1').textContent")
    assert browser.problems == []
    home = address.split("/")[2]
    assert {url.split("/")[2] for url in browser.requests if not url.startswith("data:")} == {home}


def test_edit_remove_and_undo_in_the_page(browser, address, log):
    browser.look()
    browser.open(f"{address}set/2")
    browser.run("document.querySelector('textarea').value = '<script>alert(1)</script> ünï'")
    browser.run("document.querySelector('input[name=rir]').value = '1,5'")
    browser.run("document.querySelector('input[name=tags]').value = 'Heavy block-1'")
    browser.follow("button[value=save]")
    assert browser.run("document.querySelector('blockquote').textContent") == "<script>alert(1)</script> ünï"
    with open_log(str(log)) as store:
        entry = next(entry for entry in list_sets(store) if entry.id == 2)
    assert (entry.rir, entry.tags) == (1.5, ("block-1", "heavy"))
    browser.follow("button[value=remove]")
    assert "was removed" in browser.run("document.body.textContent")
    browser.open(address)
    assert browser.run("document.querySelectorAll('tbody tr').length") == 5
    browser.open(f"{address}set/2")
    browser.follow("button[value=undo]")
    browser.open(address)
    assert browser.run("document.querySelectorAll('tbody tr').length") == 6


def test_wrong_input_gets_a_plain_page(browser, address):
    browser.open(f"{address}compare?set=1")
    assert "tick two to four" in browser.run("document.body.textContent")
    browser.open(f"{address}set/999")
    assert "no set 999" in browser.run("document.body.textContent")
    browser.open(f"{address}?since=soon")
    assert "not a day" in browser.run("document.body.textContent")
    browser.open(f"{address}set/1")
    browser.run("document.querySelector('input[name=load_kg]').value = 'heavy'")
    browser.follow("button[value=save]")
    assert "no number" in browser.run("document.body.textContent")


def status(address, *, method="GET", data=None, **headers):
    names = {key.replace("_", "-"): value for key, value in headers.items()}
    request = urllib.request.Request(address, method=method, data=data, headers=names)
    try:
        with urllib.request.urlopen(request, timeout=10) as answer:
            return answer.status, answer.headers
    except urllib.error.HTTPError as error:
        with error:
            return error.code, error.headers


def test_nobody_gets_in_but_the_browser_that_came_first(browser, first, address, log):
    root, place, code = re.fullmatch(
        r"(http://127\.0\.0\.1:\d+/)([\w-]{16}/)\?code=([\w-]{32})", first
    ).groups()
    for path in ("", "set/1", f"{place[:-2]}/", f"x{place}", "../etc/passwd"):
        assert status(root + path)[0] == 404
    # The code has been used: whoever reads it in the list of processes comes too late.
    for path in (place, f"{place}?code={code}", f"{place}set/1", f"{place}?code="):
        said, headers = status(root + path)
        assert said == 403
        assert "Set-Cookie" not in headers
    browser.open(first)
    assert browser.run("document.querySelectorAll('tbody tr').length") > 0
    assert browser.run("location.search") == ""
    assert browser.run("document.cookie") == ""
    before = _entries(log)
    assert status(f"{address}set/1", method="POST", data=b"do=remove")[0] == 403
    assert _entries(log) == before


@pytest.mark.skipif(
    os.name != "posix" or not os.path.exists("/proc/net/tcp"), reason="reads Linux's list of sockets"
)
def test_it_listens_on_this_machine_only(address):
    port = int(address.split(":")[2].split("/")[0])
    with open("/proc/net/tcp") as stream:
        lines = [line.split() for line in stream.readlines()[1:]]
    listening = [line[1] for line in lines if line[3] == "0A" and int(line[1].split(":")[1], 16) == port]
    assert listening == [f"0100007F:{port:04X}"]


def _entries(log):
    with open_log(str(log)) as store:
        return list_sets(store)


@pytest.mark.parametrize(
    ("name", "path"),
    [("list", ""), ("report", "report"), ("set", "set/1"), ("compare", "compare?set=1&set=3&set=6"),
     ("none", "?tag=nowhere"), ("wrong", "set/999")],
)  # fmt: skip
def test_nothing_is_cut_and_nothing_overlaps(browser, address, name, path):
    browser.open(address + path)
    for width, height, phone, dark in LOOKS:
        browser.look(width=width, height=height, phone=phone, dark=dark)
        browser.wait_for(f"innerWidth === {width}")
        assert faults(browser.run) == [], (width, height, dark)
        browser.keep(f"browse-{name}-{width}{'-dark' if dark else ''}")


def test_a_long_name_does_not_push_the_filter_out_of_the_window(browser, address, log):
    with open_log(str(log)) as store:
        edit_sets(store, [1], Labels(lifter="Ben Okonkwo-Łukasiewicz von und zu Hohenstein-Sigmaringen"))
    try:
        browser.open(address)
        for width, height, phone, dark in LOOKS:
            browser.look(width=width, height=height, phone=phone, dark=dark)
            browser.wait_for(f"innerWidth === {width}")
            right = browser.run("document.querySelector('select[name=lifter]').getBoundingClientRect().right")
            assert right <= width, (width, height)
            assert faults(browser.run) == [], (width, height, dark)
    finally:
        with open_log(str(log)) as store:
            undo(store)
