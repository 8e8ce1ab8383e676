"""WebVTT as a real browser reads it: its own parser must find every rep where and what it was."""

import base64

import pytest
from chromium import Browser

from armarc.measures import row_of
from armarc.report.markers import markers_of, subtitles
from armarc.reps import MeasuredSet, Rep

REPS = [
    {
        "rep": number, "start_s": 4.25 * number, "end_s": 4.25 * number + 3.001, "rom_deg": 80.0,
        "start_velocity_deg_s": 57.2, "start_verdict": "inside", "quality": ["swung"] if number == 3 else [],
    }
    for number in (1, 2, 3)
]  # fmt: skip


def test_a_browser_finds_every_rep():
    reps = tuple(row_of(Rep, rep) for rep in REPS)
    one = MeasuredSet(set=1, start_s=4.25, end_s=16.0, reps=reps, exercise="", side=None, band=None)
    text = subtitles(markers_of([one], 3599.5), ".vtt")
    coded = base64.b64encode(text.encode()).decode()
    page = f'<!doctype html><video><track id="t" src="data:text/vtt;base64,{coded}"></video>'
    browser = Browser()
    try:
        browser.open("data:text/html;base64," + base64.b64encode(page.encode()).decode())
        browser.run("document.getElementById('t').track.mode = 'hidden'")
        browser.wait_for("(document.getElementById('t').track.cues || []).length === 3")
        found = browser.run(
            "[...document.getElementById('t').track.cues]"
            ".map(c => [c.startTime, c.endTime, c.getCueAsHTML().textContent])"
        )
    finally:
        browser.close()
    for (start, end, words), rep in zip(found, REPS, strict=True):
        assert start == pytest.approx(rep["start_s"] + 3599.5, abs=0.001)
        assert end == pytest.approx(rep["end_s"] + 3599.5, abs=0.001)
        assert words.startswith(f"Set 1, rep {rep['rep']}\nstart 57 °/s, inside the band; range 80°")
        assert ("swung" in words) == (rep["rep"] == 3)
