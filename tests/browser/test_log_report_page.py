"""The report page in a real browser: looks, colours, phone, paper, keyboard, and nothing fetched."""

import re

import pytest
from chromium import Browser
from fitting import LOOKS, faults

from armarc.log import open_log
from invented_log import fill
from log_program import real_log, run, wide_log


@pytest.fixture(scope="module")
def browser():
    opened = Browser()
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    log = real_log(folder)
    run("log", "edit", "1", "--note", "<img src=x onerror='document.title=1'><script>document.title=2</script>",
        "--lifter", "<b>Ada</b>", "--log-file", log)  # fmt: skip
    run("report", "1", "-o", folder / "set.html", "--log-file", log)
    with open_log(str(folder / "many.sqlite")) as store:
        fill(store, days=1, sets=1, reps=24)
    run("report", "1", "-o", folder / "many.html", "--log-file", folder / "many.sqlite")
    run("report", "--lifter", "me", "-o", folder / "period.html", "--log-file", wide_log(folder))
    return folder


def luminance(colour):
    # Relative luminance and contrast ratio of WCAG 2.1.
    parts = [c / 255 for c in colour]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def computed(browser, selector, name):
    text = browser.run(f"getComputedStyle(document.querySelector('{selector}')).{name}")
    return tuple(int(float(part)) for part in re.findall(r"[\d.]+", text)[:3])


@pytest.mark.parametrize("name", ["set", "period"])
def test_nothing_is_fetched_and_nothing_is_wrong(browser, pages, name):
    browser.requests.clear()
    browser.problems.clear()
    browser.look()
    browser.open((pages / f"{name}.html").as_uri())
    assert all(url.startswith("file://") for url in browser.requests)
    assert len(browser.requests) == 1
    assert browser.problems == []
    assert browser.run("document.scripts.length") == 0


def test_text_of_people_is_shown_as_text(browser, pages):
    browser.open((pages / "set.html").as_uri())
    assert browser.run("document.title").startswith("Lateral raise")
    assert browser.run("document.querySelectorAll('img, script, b').length") == 0
    assert "<script>" in browser.run("document.querySelector('blockquote').textContent")
    assert "<b>Ada</b>" in browser.run("document.querySelector('.subtitle').textContent")


@pytest.mark.parametrize("dark", [False, True])
def test_colours_are_readable_in_light_and_dark(browser, pages, dark):
    browser.look(dark=dark)
    browser.open((pages / "period.html").as_uri())
    paper = computed(browser, "html", "backgroundColor")
    assert (luminance(paper) < 0.1) == dark
    for selector in ("p.words", ".subtitle", "caption", "td", "footer li"):
        # WCAG 2.1, 1.4.3: at least 4.5 to 1 for text.
        assert contrast(computed(browser, selector, "color"), paper) >= 4.5, selector
    image = browser.picture()
    browser.keep(f"period-{'dark' if dark else 'light'}")
    # The pictures are drawn in the page's colours: its paper is the commonest colour, its ink is there too.
    counts = {colour: count for count, colour in image.getcolors(1 << 24)}
    assert max(counts, key=counts.get) == paper
    ink = computed(browser, "html", "color")
    assert any(
        contrast(colour, paper) > 0.95 * contrast(ink, paper) for colour, n in counts.items() if n > 500
    )


def test_pictures_have_words_and_size(browser, pages):
    browser.look()
    browser.open((pages / "set.html").as_uri())
    found = browser.run(
        "[...document.querySelectorAll('svg')].map(s => [s.getAttribute('role'), s.getAttribute('aria-label').length,"
        " s.getBoundingClientRect().width, s.getBoundingClientRect().height])"
    )
    assert len(found) == 2
    for role, words, width, height in found:
        assert role == "img"
        assert words > 60
        assert 500 < width < 900
        assert height > 400
    names = browser.call("Accessibility.getFullAXTree")["nodes"]
    images = [n for n in names if n.get("role", {}).get("value") == "image"]
    assert len([n for n in images if len(n.get("name", {}).get("value", "")) > 60]) == 2


def test_on_a_phone_the_page_does_not_run_sideways(browser, pages):
    browser.look(width=360, height=740, phone=True)
    for name in ("set", "period"):
        browser.open((pages / f"{name}.html").as_uri())
        assert browser.run("document.documentElement.scrollWidth") <= 360
        assert browser.run("parseFloat(getComputedStyle(document.querySelector('p.words')).fontSize)") >= 16
        browser.keep(f"{name}-phone")
    # Letters in a picture: 13 pt of a 6.4-inch picture scaled to the window stay at 9 CSS pixels or more.
    width = browser.run("document.querySelector('figure svg').getBoundingClientRect().width")
    assert 13 * width / (6.4 * 72) >= 9


def test_on_paper(browser, pages):
    browser.look(dark=True, paper=True)
    browser.open((pages / "set.html").as_uri())
    # Somebody who prefers dark screens still gets dark ink on paper.
    assert luminance(computed(browser, "html", "color")) < 0.05
    browser.look()
    pdf = browser.pdf()
    assert pdf.startswith(b"%PDF")
    boxes = {tuple(round(float(v)) for v in m.split()) for m in re.findall(rb"/MediaBox\s*\[([^\]]+)\]", pdf)}
    # A4 is 210 mm × 297 mm (ISO 216), 595 × 842 pt.
    assert boxes == {(0, 0, 595, 842)} or all(abs(b[2] - 595) <= 1 and abs(b[3] - 842) <= 1 for b in boxes)
    assert 2 <= pdf.count(b"/Type /Page\n") + pdf.count(b"/Type /Page ") <= 6 or b"/Count" in pdf


@pytest.mark.parametrize("name", ["set", "many", "period"])
def test_nothing_is_cut_and_nothing_overlaps(browser, pages, name):
    browser.open((pages / f"{name}.html").as_uri())
    for width, height, phone, dark in LOOKS:
        browser.look(width=width, height=height, phone=phone, dark=dark)
        browser.wait_for(f"innerWidth === {width}")
        assert faults(browser.run) == [], (width, height, dark)
        browser.keep(f"{name}-{width}{'-dark' if dark else ''}")


@pytest.mark.parametrize(
    ("harm", "said"),
    [
        ("document.querySelector('h1').style.cssText = 'white-space: nowrap; font-size: 200px'", "cut by the window"),
        ("document.querySelector('h2').style.marginBottom = '-30px'", "over each other"),
        ("document.querySelector('svg').style.height = '100px'; document.querySelector('svg g[id*=text_]')"
         ".setAttribute('transform', 'translate(0 -60)')", "cut by its picture"),
        ("document.querySelector('.cards').style.cssText = 'overflow: auto; width: 90px'", "runs out of its place"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_found(browser, pages, harm, said):
    browser.look()
    browser.open((pages / "period.html").as_uri())
    assert faults(browser.run) == []
    browser.run(harm)
    assert any(said in fault for fault in faults(browser.run))
