"""The pages over the log: one browser gets in, odd requests get plain answers with every header."""

from __future__ import annotations

import os
import stat
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("starlette", reason="the extra 'web' is not installed")
pytest.importorskip("httpx", reason="the test client needs httpx")

from programs import run

from armarc.log import Store, add_result, list_sets, open_log
from armarc.report.page_server import HEADERS, Entry, make_app
from invented_log import invented_result

RECORDINGS = Path(__file__).parents[2] / "recordings"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_log(str(tmp_path / "log.sqlite")) as opened:
        add_result(opened, invented_result(1))
        yield opened


def client_for(store: Store, entry: Entry) -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the client's own, about its successor
        from starlette.testclient import TestClient
    return TestClient(make_app(store, entry), base_url="http://127.0.0.1:9", raise_server_exceptions=True)


@pytest.fixture
def inside(store: Store) -> Any:
    entry = Entry()
    client = client_for(store, entry)
    assert client.get(entry.first_address).status_code == 200
    client.place = entry.place
    return client


def test_the_code_works_once_and_becomes_a_cookie_nobody_else_is_sent(store: Store) -> None:
    entry = Entry()
    mine, other = client_for(store, entry), client_for(store, entry)
    assert mine.get(entry.place).status_code == 403
    assert mine.get(f"{entry.place}?code=wrong").status_code == 403
    assert mine.post(entry.first_address).status_code in (403, 405)
    got = mine.get(entry.first_address, follow_redirects=False)
    assert (got.status_code, got.headers["location"]) == (303, entry.place)
    cookie = got.headers["set-cookie"]
    assert {"HttpOnly", "SameSite=Strict", f"Path={entry.place}"} <= set(cookie.split("; "))
    assert entry.code not in cookie
    assert other.get(entry.first_address).status_code == 403
    assert mine.get(entry.place).status_code == 200
    # The same browser may open the old address again.
    assert mine.get(entry.first_address).status_code == 200
    assert entry.code not in mine.get(entry.place).text


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("set/9223372036854775808", 404),
        ("set/" + "9" * 400, 404),
        ("set/2147483648", 404),
        ("set/0", 404),
        ("compare?set=9223372036854775808&set=1", 400),
        ("?from=9223372036854775808", 400),
        ("nothing/here", 404),
    ],
)
def test_odd_addresses_get_plain_answers(inside: Any, path: str, status: int) -> None:
    answer = inside.get(inside.place + path)
    assert answer.status_code == status
    assert "Traceback" not in answer.text


def test_every_answer_has_every_header(inside: Any, store: Store) -> None:
    place = inside.place
    others = Entry()
    stranger = client_for(store, others)
    answers = [
        (200, inside.get(place)),
        (404, inside.get("/")),
        (404, inside.get("/favicon.ico")),
        (405, inside.delete(place)),
        (405, inside.post(place)),
        (403, stranger.get(others.place)),
        (400, inside.get(place, headers={"Host": "evil.example"})),
        (413, inside.post(f"{place}set/1", content=b"x" * 100_000)),
        (403, inside.post(f"{place}set/1", content=b"do=remove", headers={"Origin": "https://evil.example"})),
        (403, inside.post(f"{place}set/1", content=b"do=remove", headers={"Sec-Fetch-Site": "cross-site"})),
        (400, inside.post(f"{place}set/1", content=b"do=format-disk")),
    ]
    for status, answer in answers:
        assert answer.status_code == status
        for name, value in HEADERS.items():
            assert answer.headers[name] == value
    assert len(list_sets(store)) == 1


def test_thousands_of_tags_are_refused(inside: Any, store: Store) -> None:
    tags = "+".join(f"t{n}" for n in range(5000))
    answer = inside.post(f"{inside.place}set/1", content=f"do=save&tags={tags}".encode())
    assert answer.status_code == 400
    assert "5000 tags" in answer.text
    assert list_sets(store)[0].tags == ()


def test_pain_is_written_changed_and_emptied_in_the_form(inside: Any, store: Store) -> None:
    def saved(status: int = 303, **fields: str) -> tuple[float | None, str, float | None]:
        answer = inside.post(
            f"{inside.place}set/1", data={"do": "save", "note": "", **fields}, follow_redirects=False
        )
        assert answer.status_code == status, answer.text
        (entry,) = list_sets(store)
        return entry.pain, entry.pain_place, entry.pain_at_deg

    assert saved(pain="3,5", pain_place="front of the shoulder", pain_at_deg="80") == (
        3.5, "front of the shoulder", 80,
    )  # fmt: skip
    form = inside.get(f"{inside.place}set/1").text
    assert 'name="pain" value="3.5"' in form
    assert 'name="pain_at_deg" value="80"' in form
    assert saved(pain="2", pain_place="", pain_at_deg="") == (2, "", None)
    assert saved(400, pain="11", pain_place="", pain_at_deg="") == (2, "", None)
    assert saved(pain="", pain_place="elbow", pain_at_deg="70") == (None, "", None)
    assert saved(note="a form of an earlier page has no such fields") == (None, "", None)


@pytest.mark.skipif(os.name != "posix", reason="rights of files as POSIX knows them")
def test_a_new_log_is_as_private_as_its_recordings(tmp_path: Path) -> None:
    before = os.umask(0o022)
    try:
        assert run(tmp_path, "process", RECORDINGS / "strict-raise.csv", "--log").returncode == 0
    finally:
        os.umask(before)
    for path in [tmp_path / "log.sqlite", *(tmp_path / "log-recordings").glob("*/*")]:
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
