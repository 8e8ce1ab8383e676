"""``armarc report`` end to end: what is on the page. How it looks is tried in a browser elsewhere."""

import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from armarc.log import open_log
from armarc.log.reading import list_sets, measured_reps
from armarc.report.page import render_page
from armarc.report.page_build import ARBITRARY_ZERO, invented_words, set_section
from log_program import real_log, run, wide_log

DEMOS = Path(__file__).parents[2] / "recordings"


class Page(HTMLParser):
    """Collects what matters: addresses, scripts, texts of pictures, headings, ids."""

    VOID = frozenset({"meta", "link", "input", "br", "hr", "img"})

    def __init__(self, text):
        super().__init__()
        self.attributes, self.open, self.ids, self.text, self.tags = [], [], [], [], []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attributes):
        self.tags.append(tag)
        self.attributes += [(tag, key, value or "") for key, value in attributes]
        self.ids += [value for key, value in attributes if key == "id"]
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.handle_starttag(tag, attributes)
        if tag not in self.VOID:
            self.open.pop()

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text.append(data)


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    return wide_log(tmp_path_factory.mktemp("wide"))


@pytest.fixture(scope="module")
def real(tmp_path_factory):
    return real_log(tmp_path_factory.mktemp("real"))


def sound(text):
    """A whole page that needs nothing from anywhere."""
    page = Page(text)
    assert page.open == []
    assert len(page.ids) == len(set(page.ids))
    assert not {"script", "img", "iframe", "object", "link"} & set(page.tags)
    for _tag, key, value in page.attributes:
        assert not key.startswith("on")
        if key in ("src", "href", "xlink:href", "action"):
            assert value.startswith("#"), value
    assert "http://" not in re.sub(r'xmlns(:xlink)?="[^"]+"', "", text)
    assert "https://" not in text
    svgs = [a for a in page.attributes if a[0] == "svg" and a[1] == "role"]
    labels = [a for a in page.attributes if a[0] == "svg" and a[1] == "aria-label" and len(a[2]) > 40]
    assert len(svgs) == len(labels) == page.tags.count("svg")
    assert page.tags.count("h1") == 1
    assert ("html", "lang", "en") in page.attributes
    assert "not a medical device" in " ".join(page.text)
    return page


def test_one_set_from_its_recording(real, tmp_path):
    run("report", "1", "-o", tmp_path / "p.html", "--log-file", real)
    text = (tmp_path / "p.html").read_text()
    page = sound(text)
    assert page.tags.count("svg") == 2
    words = " ".join(page.text)
    assert "Invented data: nobody was measured" in words
    assert re.search(r"5 reps in \d+ seconds", words)
    assert "±" in words
    assert "s1.csv" in words


def test_a_page_of_invented_sets_among_others_says_which(real):
    with open_log(str(real)) as store:
        first, *others = list_sets(store)
    assert others
    assert invented_words([first, *others]) == "Invented data: nobody was measured."
    people = [replace(one, note="felt heavy") for one in others]
    assert invented_words(people) == ""
    assert invented_words([first, *people]) == f"Invented data: nobody was measured for set {first.id}."
    page = render_page("t", "s", [], invented=invented_words([first, *people]))
    assert f"nobody was measured for set {first.id}." in page


def test_a_session_and_a_period(log, tmp_path):
    run("report", "2026-01-05", "-o", tmp_path / "day.html", "--log-file", log)
    day = sound((tmp_path / "day.html").read_text())
    assert "Session of 5 January 2026" in "".join(day.text)
    run("report", "--lifter", "me", "-o", tmp_path / "all.html", "--log-file", log)
    everything = sound((tmp_path / "all.html").read_text())
    words = " ".join(everything.text)
    for part in (
        "Over time: me",
        "What changed",
        "What next",
        "Bests: me",
        "Left and right: me",
        "All sets",
    ):
        assert part in words


def test_each_lifter_has_sections_of_their_own(log, tmp_path):
    run("report", "-o", tmp_path / "all.html", "--since", "2026-01-01", "--log-file", log)
    heads = re.findall(r"<h2[^>]*>([^<]*)</h2>", (tmp_path / "all.html").read_text())
    lifters = [name for head in heads for name in ("me", "Ada") if name in head.split(": ")]
    assert set(lifters) == {"me", "Ada"}
    assert sorted(lifters, key=lifters.index) == lifters, "one lifter after the other"
    words = " ".join(sound((tmp_path / "all.html").read_text()).text)
    # Invented: 8 sessions of two right sets and one left, six reps each; Ada's four sets on the same days.
    assert "24 sets, 144 reps" in words
    assert "4 sets, 24 reps" in words
    assert "28 sets" not in words


def test_what_is_not_drawn_is_named(tmp_path):
    log = wide_log(tmp_path)
    run("log", "edit", "1", "--variant", "paused", "--log-file", log)
    run("report", "--lifter", "me", "-o", tmp_path / "p.html", "--log-file", log)
    words = " ".join(sound((tmp_path / "p.html").read_text()).text)
    assert "Not drawn, in the table only: Lateral raise, dumbbell (paused)" in words


def test_a_page_says_that_an_angle_counts_from_an_arbitrary_zero_and_names_flagged_reps(tmp_path):
    log = tmp_path / "log.sqlite"
    run("log", "import", DEMOS / "machine-reverse-fly.csv", DEMOS / "swung-set.csv", "--log-file", log)
    with open_log(str(log)) as store:
        fly, swung = (
            " ".join(set_section(store, one, measured_reps(store, [one.id])[one.id], curves=False).notes)
            for one in sorted(list_sets(store), key=lambda one: one.id)
        )
    assert ARBITRARY_ZERO in fly
    assert ARBITRARY_ZERO not in swung
    assert "Reps 1–8: the body swung" in swung


def test_names_and_notes_of_people_stay_text(tmp_path):
    log = wide_log(tmp_path)
    evil = "\"><script>alert(1)</script><img src=x onerror=alert(2)> {{ 7*7 }} </svg> ' & é"
    run("log", "edit", "1", "2", "--note", evil, "--lifter", evil, "--variant", evil, "--log-file", log)
    run("report", "1", "2", "--title", evil, "-o", tmp_path / "p.html", "--log-file", log)
    text = (tmp_path / "p.html").read_text()
    page = sound(text)
    assert evil in "".join(page.text)
    assert "{{ 7*7 }}" in text
    assert "49" not in "".join(page.text).split("armarc")[0][:40]


def test_stdout_and_names(log, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert run("report", "1", "-o", "-", "--log-file", log).stdout.startswith("<!doctype html>")
    said = run("report", "1", "--log-file", log)
    (made,) = tmp_path.glob("*.html")
    assert made.name in said.stderr
    run("report", "1", "-o", tmp_path / "no" / "p.html", "--log-file", log, code=2)
    run("report", "999", "--log-file", log, code=5)
    run("report", "--lifter", "nobody", "--log-file", log, code=6)
    run("report", "1", "--title", "\x1b", "--log-file", log, code=2)


def test_colours_of_the_pictures_follow_the_page(log, tmp_path):
    run("report", "1", "-o", tmp_path / "p.html", "--log-file", log)
    text = (tmp_path / "p.html").read_text()
    svg = text[text.index("<svg") : text.rindex("</svg>")]
    assert "var(--ink" in svg
    bare = set(re.findall(r"(?<![(,] )#[0-9a-fA-F]{6}\b", svg))
    assert bare == set()
    assert "prefers-color-scheme: dark" in text
    assert "@page { size: A4" in text
