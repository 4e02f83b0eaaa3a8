"""A real browser, and a station on the simulated bench with two tested motors and one person for each role."""

import os
import shutil
import time
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect, sync_playwright

from station.cli import program
from station.cli.serve import opened_site
from station.cli.setup import write_folder
from station.clock import system_clock
from station.screens.access import Role
from station.screens.demo_people import OPERATOR
from station.sequence.station_file import load_station
from station.simulated.free_port import free_ports
from station.simulated.side_channel import SideChannel

PATIENCE = 60_000       # ms, of a loaded machine
GOOD, BAD = "CP40-0001", "CP40-0102"    # the second has a reversed magnet
ARGS = ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
        "--disable-background-networking", "--disable-component-update", "--disable-sync")


@pytest.fixture(scope="module")
def station(request, tmp_path_factory, peopled):
    """A station with a line at the simulated bench, on which two motors have been tested.

    A module that looks at a running test gives a `PACE` at which a browser keeps up; or says what was `TESTED` before.
    """
    folder = tmp_path_factory.mktemp("browser") / "line"
    write_folder(folder, pace=getattr(request.module, "PACE", 50.0), free_ports=True)
    file, (port,) = folder / "station.toml", free_ports(1)
    file.write_text(file.read_text("utf-8").replace("side_port = 0", f"side_port = {port}"), "utf-8")
    tested = getattr(request.module, "TESTED", (GOOD, BAD))
    if tested:
        program.run(["test", *tested, "--station", str(file)])
    with opened_site(load_station(file), system_clock(), look_only=False) as site:
        yield peopled(site)


@pytest.fixture(scope="module")
def address(station, serving):
    with serving(station) as where:
        yield where


@pytest.fixture(scope="module")
def chromium(address):
    """A browser, started after the station: who signs certificates wants no event loop around, and it keeps one."""
    assert address
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=list(ARGS))
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def signed_in(address, accounts):
    """Return a function that signs a page in as a role, by hand the first time, by what that browser kept from then on.

    Each browser has its own cookies all the same; a session may be open in several.
    """
    kept = {}

    def sign_in(chromium, role, size):
        context = chromium.new_context(viewport={"width": size[0], "height": size[1]}, storage_state=kept.get(role))
        page = context.new_page()
        page.set_default_timeout(PATIENCE)
        if kept.get(role):
            page.goto(f"{address}/")
        elif role is Role.OPERATOR:
            page.goto(f"{address}/line")
            scan_until(page, OPERATOR.badge, f"header:has-text('{OPERATOR.name}')")
        elif role is not None:
            page.goto(f"{address}/sign-in")
            for field, value in accounts[role].items():
                page.fill(f"[name={field}]", value)
            page.click("main button")
            expect(page.locator("header")).to_contain_text(accounts[role]["name"], timeout=PATIENCE)
        if role:
            kept[role] = context.storage_state()
        return page

    return sign_in


@pytest.fixture
def desk(chromium, signed_in):
    """Return a function that opens a browser of its own, signed in as a role, or as nobody for None."""
    opened = []

    def sit_down(role=None, size=(1280, 900)):
        page = signed_in(chromium, role, size)
        opened.append(page.context)
        return page

    yield sit_down
    for context in opened:
        context.close()


def scan_until(page, text, selector):
    """Type as a scanner does, wherever the focus is, until the page shows it; a loaded machine may miss a code."""
    end = time.monotonic() + PATIENCE / 1000
    while time.monotonic() < end:
        page.keyboard.type(text)
        page.keyboard.press("Enter")
        try:
            page.locator(selector).first.wait_for(timeout=4000)
        except Exception as error:
            if "Timeout" not in type(error).__name__:
                raise
            continue
        page.wait_for_load_state("load")
        return
    raise AssertionError(f"no {selector} in {page.content()}")


@pytest.fixture
def scanning():
    return scan_until


def shown(page, key):
    """Wait until the panel shows a state of the line."""
    expect(page.locator(f"#line .state.{key}")).to_be_visible(timeout=PATIENCE)


@pytest.fixture
def put_in(station, scanning):
    """Return a function that scans a motor at a panel and puts it in, until START is waited for."""
    def put_in(page, serial):
        scanning(page, serial, ", ".join(f"#line .state.{key}" for key in ("change", "guard", "start")))
        expect(page.locator("#line .order bdi")).to_have_text(serial)
        if page.locator("#line .state.change").count():
            station.fixture.open_guard()
            end = time.monotonic() + PATIENCE / 1000
            while station.fixture.rig.serial != serial:   # put in once the guard was seen open
                assert time.monotonic() < end
                time.sleep(0.02)
        station.fixture.close_guard()
        shown(page, "start")

    return put_in


@pytest.fixture
def begin(station, put_in):
    """Return a function that scans a motor at a panel, puts it in and presses START."""
    def begin(page, serial):
        put_in(page, serial)
        station.fixture.press_start()

    return begin


@pytest.fixture
def side(station):
    """The hands that break things at the simulated bench; whatever they broke is whole again afterwards."""
    with SideChannel(station.station.simulated.side_port) as hands:
        yield hands
        hands.mend()


@pytest.fixture
def awaiting():
    """Return the function that waits until the panel shows a state."""
    return shown


@pytest.fixture(scope="session")
def measure():
    """Return a function that measures what a page shows, see `measures.js`."""
    script = Path(__file__).with_name("measures.js").read_text("utf-8")
    return lambda page: page.evaluate(script)


# Nothing is listed that is in order, and contrast is measured here, of every text: else a page of 9000 elements takes
# axe ten times as long.
RULES = {"resultTypes": ["violations"], "rules": {"color-contrast": {"enabled": False}}}


def faults_of(measured):
    """Return what is too pale or too small at a desk: WCAG 2.2, 1.4.3, 1.4.11 and 2.5.8, numbers from memory."""
    yield from (one for one in measured["texts"] if one["contrast"] < (3 if one["large"] else 4.5))
    yield from (one for one in measured["borders"] if one["contrast"] < 3)
    yield from (one for one in measured["targets"] if min(one["width"], one["height"]) < 24)


def faults_of_panel(measured, pitch):
    """Return the same where a page is read and touched at the line; `pitch` in mm per CSS pixel."""
    yield from (one for one in measured["texts"] if one["contrast"] < 7 or one["capital"] * pitch < 4.1)     # R3, R5
    yield from (one for one in measured["borders"] if one["contrast"] < 3)                                   # R6
    yield from (one for one in measured["targets"] if min(one["width"], one["height"]) * pitch < 19.95)      # R8
    yield from (one for one in measured["gaps"] if one["gap"] * pitch < 5.95)                                # R9


@pytest.fixture
def sound(station, measure, pictures):
    """Return a function that holds a page, all of it unfolded, to what holds for each, and leaves a picture of it."""
    def hold(page, name):
        page.screenshot(path=pictures / f"{name}.png", full_page=True)
        for folded in page.locator("summary").all():
            folded.click()
        found = Axe().run(page, options=RULES).response["violations"]
        assert [(one["id"], [node["html"][:120] for node in one["nodes"][:3]]) for one in found] == []
        measured, at_line = measure(page), page.locator("body.panel").count()
        assert measured["texts"]
        assert list(faults_of_panel(measured, station.station.panel.pitch_mm) if at_line else faults_of(measured)) == []
        wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wide <= 0        # what is wider scrolls within its own frame
        for unfolded in page.locator("summary").all():
            unfolded.click()

    return hold


@pytest.fixture(scope="session")
def pictures(tmp_path_factory):
    """Return the folder where pictures of pages are left for people to look at."""
    folder = Path(os.environ.get("STATION_PICTURES") or tmp_path_factory.mktemp("pictures"))
    folder.mkdir(parents=True, exist_ok=True)
    return folder
