"""The panel under a real scanner's keys, with its sounds, and when nobody answers it any more."""

import shutil
import time
from contextlib import ExitStack

import pytest
from playwright.sync_api import TimeoutError, expect, sync_playwright

from station.cli.serve import opened_site
from station.cli.setup import write_folder
from station.clock import system_clock
from station.screens.demo_people import OPERATOR
from station.sequence.station_file import load_station

PATIENCE = 60_000       # ms, of a loaded machine
# Writes down what the page would play, from one load of it to the next: how each tone begins.
LISTEN = """const make = AudioContext.prototype.createOscillator;
AudioContext.prototype.createOscillator = function () {
  const tone = make.call(this), from = tone.frequency.setValueAtTime;
  tone.frequency.setValueAtTime = function (value, at) {
    sessionStorage.setItem("heard", JSON.stringify([...JSON.parse(sessionStorage.getItem("heard") || "[]"), value]));
    return from.call(this, value, at);
  };
  return tone;
};"""


@pytest.fixture(scope="module")
def site(tmp_path_factory, peopled):
    folder = tmp_path_factory.mktemp("panel") / "line"
    write_folder(folder, pace=50.0, free_ports=True)
    with opened_site(load_station(folder / "station.toml"), system_clock(), look_only=False) as opened:
        yield peopled(opened)


@pytest.fixture
def served(site, serving):
    """The address of the pages, and what cuts them off without a word to anybody."""
    with ExitStack() as stack:
        yield stack.enter_context(serving(site)), stack.close


@pytest.fixture
def page(served):
    with sync_playwright() as play:
        browser = play.chromium.launch(
            executable_path=shutil.which("chromium"),
            args=["--headless=new", "--no-sandbox", "--autoplay-policy=no-user-gesture-required"])
        opened = browser.new_page(viewport={"width": 1920, "height": 1080})
        opened.add_init_script(LISTEN)
        opened.goto(f"{served[0]}/line")
        yield opened
        browser.close()


def scan(page, text, delay=0):
    page.keyboard.type(text, delay=delay)
    page.keyboard.press("Enter")


def state(page, key):
    return expect(page.locator(f"#line .state.{key}")).to_be_visible(timeout=PATIENCE)


def scan_to(page, text, selector):
    """Scan until the page shows it: on a loaded machine, keys can come as slowly as from a hand."""
    end = time.monotonic() + PATIENCE / 1000
    while time.monotonic() < end:
        scan(page, text)
        try:
            page.wait_for_selector(selector, timeout=5000)
        except TimeoutError:
            continue
        page.wait_for_load_state("load")
        return
    raise AssertionError(f"no {selector} in {page.content()}")


def sign_in(page):
    scan_to(page, OPERATOR.badge, f"header:has-text('{OPERATOR.name}')")


def heard(page):
    return page.evaluate("JSON.parse(sessionStorage.getItem('heard') || '[]')")


def await_tone(page, hertz):
    end = time.monotonic() + 10
    while heard(page)[-1:] != [hertz]:
        assert time.monotonic() < end, heard(page)
        time.sleep(0.05)


def test_a_scanner_needs_no_focus_presses_no_button_and_hands_are_no_scanner(page):
    sign_in(page)
    page.focus("#try-sound")
    scan(page, "CP40-0009", delay=150)      # typed by hand: slower than any scanner
    assert page.locator("#line .order:has-text('CP40-0009')").count() == 0
    assert page.evaluate("document.activeElement.id") == "try-sound"
    before = len(heard(page))
    scan_to(page, "ZZ 9-0001", "#line .state.refused")      # its blank or its Enter would press the button
    assert "ZZ 9-0001" in page.locator("#line .state").inner_text()
    assert len(heard(page)) <= before + 2   # a refusal, not all sounds


def test_each_event_has_its_own_sound_and_a_reload_shows_the_true_state(page, site):
    sign_in(page)
    scan_to(page, "CP40-0001", "#line .state.change, #line .state.start")
    if page.locator("#line .state.change").count():
        site.fixture.open_guard()
        page.wait_for_timeout(500)
        site.fixture.close_guard()
    state(page, "start")
    await_tone(page, 880)
    before = len(heard(page))
    site.fixture.press_start()
    state(page, "pass")
    await_tone(page, 990)
    assert len(heard(page)) == before + 2
    assert page.title().startswith("PASS")
    assert page.locator("#said").inner_text().startswith("PASS. Take it out")
    page.reload()
    state(page, "pass")
    page.wait_for_timeout(300)
    assert len(heard(page)) == before + 2   # said once


def test_a_page_that_nobody_answers_covers_its_verdict(page, served):
    sign_in(page)
    assert not page.locator("#no-link").is_visible()
    served[1]()
    expect(page.locator("#no-link")).to_be_visible(timeout=10_000)
    assert not page.locator("#line").is_visible()
    assert "NO LINK" in page.locator("#no-link").inner_text()
