"""The auditor's pages in a browser: an audit that tells by itself when it is done, and nothing that axe finds amiss."""

import shutil

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect, sync_playwright

from station.cli import program
from station.cli.serve import opened_site
from station.cli.setup import write_folder
from station.clock import system_clock
from station.screens.access import Role
from station.sequence.station_file import load_station

SERIAL = "CP40-0102"
PATIENCE = 120_000      # ms, of a loaded machine


@pytest.fixture(scope="module")
def address(tmp_path_factory, peopled, serving):
    """Serve a station with one tested motor; yield where."""
    folder = tmp_path_factory.mktemp("audited") / "line"
    write_folder(folder, pace=50.0, free_ports=True)
    program.run(["test", SERIAL, "--station", str(folder / "station.toml")])
    with opened_site(load_station(folder / "station.toml"), system_clock(), look_only=True) as site, serving(
            peopled(site)) as where:
        yield where


@pytest.fixture(scope="module")
def page(address, accounts):
    """A page of an auditor who signed in by hand."""
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=[
            "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-background-networking"])
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        page.set_default_timeout(PATIENCE)
        page.goto(f"{address}/sign-in")
        for field, value in accounts[Role.AUDITOR].items():
            page.fill(f"[name={field}]", value)
        page.click("main button")
        expect(page).to_have_url(f"{address}/evidence")
        yield page
        browser.close()


def test_from_a_serial_number_to_a_recomputed_record(page, address):
    page.fill("[name=named]", SERIAL)
    page.press("[name=named]", "Enter")
    page.click(f"main td a:has-text('{SERIAL}')")
    page.click("button[value=recompute]")
    expect(page.locator("#proof .state")).to_have_count(13, timeout=PATIENCE)     # nobody reloads it
    assert page.locator("#proof .state.broken, #proof .state.doubtful").count() == 0
    assert page.locator("#proof .state.holds").count() > 8
    with page.expect_download() as download:
        page.click("a:has-text('everything.zip')")
    assert download.value.suggested_filename == f"{SERIAL}-run1-everything.zip"


@pytest.mark.parametrize("path", ["/evidence", f"/evidence?named={SERIAL}", f"/evidence/{SERIAL}/1",
                                  "/evidence/archive", "/evidence/recall?instrument=X&gain=5%25"])
def test_nothing_that_axe_finds_amiss(page, address, path):
    page.goto(address + path)
    for details in page.locator("summary").all():
        details.click()
    found = Axe().run(page).response["violations"]
    assert [(one["id"], [node["html"][:120] for node in one["nodes"][:3]]) for one in found] == []
