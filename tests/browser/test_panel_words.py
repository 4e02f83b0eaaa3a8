"""Every state in every language on every usual panel: its word is whole, and on two lines at most."""

import shutil
from html import escape

import pytest
from playwright.sync_api import sync_playwright

from station.screens import assets
from station.screens.operator_view import SIGNS
from station.screens.signs import SHAPES
from station.screens.words import languages

# What it is called -> width and height in pixels, mm per pixel.
PANELS = {"10.1 inches": (1280, 800, 0.170), "15 inches": (1024, 768, 0.298), "15.6 inches": (1920, 1080, 0.180),
          "21.5 inches": (1920, 1080, 0.248)}
# Lines of a state's word, and the share of the height for word and next step. On the two small ones nothing is cut
# either, but values and counters come below the screen.
ROOM = {"10.1 inches": (3, 1.0), "15 inches": (3, 1.0), "15.6 inches": (2, 0.75), "21.5 inches": (2, 0.6)}

CAPITAL = {"10.1 inches": 16.4, "15 inches": 19.2, "15.6 inches": 19.2, "21.5 inches": 19.2}      # mm, of the word
VERDICTS = ("pass", "fail")
MORE = ("<p class=detail>cause</p><ul class=worst><li>value</li></ul><ul class=cautions><li>caution</li></ul>"
        "<p class=hint>hint</p><p class=left>left</p>")
MEASURE = """() => [...document.querySelectorAll('.state')].map(state => {
  const title = state.querySelector('h1'), words = [...title.querySelectorAll('b')];
  const pen = document.createElement("canvas").getContext("2d");
  const capital = (one) => {
    const {fontWeight, fontSize, fontFamily} = getComputedStyle(one);
    pen.font = `${fontWeight} 1000px ${fontFamily}`;      // large, as it is told in whole pixels
    return pen.measureText("H").actualBoundingBoxAscent / 1000 * parseFloat(fontSize);
  };
  const lines = new Set(words.map(word => Math.round(word.getBoundingClientRect().top)));
  return {text: title.textContent, lines: lines.size, height: state.getBoundingClientRect().height,
          broken: words.some(word => word.getClientRects().length > 1),
          over: title.scrollWidth > title.clientWidth + 1, key: state.className.replace("state ", ""),
          capital: capital(title), step: capital(state.querySelector(".step"))};
})"""


@pytest.fixture(scope="module")
def browser():
    with sync_playwright() as play:
        opened = play.chromium.launch(executable_path=shutil.which("chromium"), args=["--headless=new", "--no-sandbox"])
        yield opened
        opened.close()


def page_of(words, pitch, hall="bright", more=""):
    """Return a page that shows every state of the line, in a style made of the shipped sheets; each has `more`."""
    sheets = [(assets.FOLDER / name).read_text(encoding="utf-8") for name in ("station.css", "line.css")]
    states = "".join(state_of(key, words, more) for key in (*SIGNS, "closed", "no-link"))
    return (f"<html lang={words.code}><style>{sheets[0]} :root {{ --mm: {1 / pitch:.4f}px }} {sheets[1]}</style>"
            f"<body class='panel {hall}'><main>{states}</main></body></html>")


def state_of(key, words, more):
    path = SHAPES[SIGNS.get(key, "badge")]
    text = " ".join(f"<b>{escape(word)}</b>" for word in words.text(f"line.{key}.word").split())
    return (f"<section class='state {key}'><h1><svg class=sign viewBox='0 0 100 100'><path d='{path}'/></svg>"
            f"<span>{text}</span></h1><p class=step>{escape(words.text(f'line.{key}.step'))}</p>{more}</section>")


@pytest.mark.parametrize("panel", PANELS)
@pytest.mark.parametrize("code", languages())
def test_the_word_of_each_state_is_whole(browser, panel, code):
    width, height, pitch = PANELS[panel]
    page = browser.new_page(viewport={"width": width, "height": height})
    page.set_content(page_of(languages()[code], pitch))
    measured = page.evaluate(MEASURE)
    page.close()
    assert len(measured) == len(SIGNS) + 2
    lines, share = ROOM[panel]
    wrong = [found for found in measured if found["broken"] or found["over"] or found["lines"] > lines
             or found["height"] > share * height]
    assert wrong == []
    low = [found for found in measured if found["step"] * pitch < 8.7 or found["capital"] * pitch < (
        30 if found["key"] in VERDICTS and CAPITAL[panel] > 19 else CAPITAL[panel])]
    assert low == []        # R1 and R3 of the requirements; on 10 inches as large as they fit


@pytest.mark.parametrize("hall", ["bright", "dark"])
def test_everything_in_each_state_stands_out_in_either_hall(browser, measure, hall):
    page = browser.new_page(viewport={"width": 1920, "height": 1080})
    page.set_content(page_of(languages()["en"], 0.248, hall, MORE))
    texts = measure(page)["texts"]
    page.close()
    assert len(texts) >= (2 + MORE.count("<li>") + MORE.count("<p")) * (len(SIGNS) + 2)  # word and step, too
    assert [found for found in texts if found["contrast"] < 7] == []      # R5
