"""Letters as the browser draws them: zeros that are no O, and a font that has every letter of the language."""

import io
import shutil

import pytest
from PIL import Image
from playwright.sync_api import sync_playwright

from station.screens import assets
from station.screens.words import languages

SHEETS = [(assets.FOLDER / name).read_text(encoding="utf-8") for name in ("station.css", "line.css")]
TOLD = "<p id=no-letters hidden data-letters='{letters}'><span></span></p>"
UNASSIGNED = "\u0530\u0557"     # no characters (from memory), and so in no font


@pytest.fixture(scope="module")
def page():
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=shutil.which("chromium"),
                                       args=["--headless=new", "--no-sandbox"])
        yield browser.new_page(viewport={"width": 1280, "height": 800})
        browser.close()


def lacking(page, letters):
    """Return the letters that the page says it has no font for."""
    page.set_content(f"<style>{SHEETS[0]}</style><body>{TOLD.format(letters=letters)}</body>")
    page.add_script_tag(content=(assets.FOLDER / "letters.js").read_text(encoding="utf-8"))
    told = page.locator("#no-letters")
    return told.locator("span").inner_text().split() if told.is_visible() else []


@pytest.mark.parametrize("code", languages())
def test_there_is_a_font_for_each_language(page, code):
    assert len(languages()[code].letters) > 5
    assert lacking(page, languages()[code].letters) == []


def test_letters_that_no_font_has_are_told_and_no_other(page):
    assert lacking(page, f"ą{UNASSIGNED}ł") == ["U+0530", "U+0557"]


def zero(page, markup):
    """Return whether there is ink in the middle of the zero that `markup` shows."""
    page.set_content(f"<style>{SHEETS[0]} {SHEETS[1]} #at {{ display: inline-block; font-size: 200px !important; "
                     f"color: #000; background: #fff }}</style><body class=panel>{markup}</body>")
    drawn = Image.open(io.BytesIO(page.locator("#at").screenshot())).convert("L").point(lambda grey: 255 - grey)
    left, top, right, bottom = drawn.getbbox()
    x, y = (left + right) // 2, (top + bottom) // 2
    return drawn.crop((x - 4, y - 4, x + 4, y + 4)).getextrema()[1] > 128


@pytest.mark.parametrize("markup", [
    "<p>CP4<bdi id=at>0</bdi></p>", "<section class=state><p class=detail id=at>0</p></section>",
    "<section class=state><p class=hint id=at>0</p></section>", "<dl><dd id=at>0</dd></dl>"])
def test_a_zero_of_a_serial_number_has_a_slash(page, markup):
    assert zero(page, markup)


def test_other_zeros_have_none(page):
    assert not zero(page, "<p><span id=at>0</span></p>")
