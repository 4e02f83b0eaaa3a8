"""The work of engineer, auditor and keeper in a browser, each from the sign-in to the result."""

import json
import subprocess
import zipfile

import pytest
from playwright.sync_api import expect

from station.screens.access import Role

GOOD, BAD = "CP40-0001", "CP40-0102"    # tested before; the second has a reversed magnet
PATIENCE = 120_000      # ms, of a loaded machine


@pytest.fixture
def engineer(desk):
    return desk(Role.ENGINEER)


@pytest.fixture
def auditor(desk):
    return desk(Role.AUDITOR)


def drag(page, area, first, last):
    """Draw over a part of a chart with the mouse."""
    page.locator(area).scroll_into_view_if_needed()
    box = page.locator(area).bounding_box()
    page.mouse.move(box["x"] + first, box["y"] + 60)
    page.mouse.down()
    page.mouse.move(box["x"] + last, box["y"] + 60, steps=4)
    page.mouse.up()


def test_an_engineer_finds_why_a_motor_failed(engineer, address):
    engineer.select_option("[name=verdict]", "FAIL")
    engineer.click("main form button")
    expect(engineer.locator("main tbody tr")).to_have_count(1)
    engineer.click(f"main td a:has-text('{BAD}')")
    assert "magnet" in engineer.locator("main section").first.inner_text()      # the likely cause
    waves = engineer.locator(".waves[data-drawn]")
    waves.wait_for()
    assert int(waves.get_attribute("data-drawn")) > 1                           # least and greatest of many samples
    drag(engineer, ".volts .u-over", 100, 106)
    expect(engineer.locator(".waves[data-drawn='1']")).to_be_visible(timeout=PATIENCE)     # the samples themselves
    engineer.click(".waves .whole")
    expect(engineer.locator(".waves:not([data-drawn='1'])")).to_be_visible(timeout=PATIENCE)
    engineer.fill("[name=beside]", GOOD)
    engineer.click("form:has([name=beside]) button")
    assert engineer.locator("polyline.beside").count() == 3
    engineer.click("tr.failing a >> nth=0")
    shares = engineer.locator("main tbody tr td:nth-child(6)").all_inner_texts()
    assert sum(float(share.removesuffix("%").replace("–", "0")) for share in shares) == pytest.approx(100, abs=1)


def test_an_engineer_writes_a_draft_that_judges_nothing_yet(engineer, address, station):
    file = station.station.limits / "CP-40.toml"
    in_force = file.read_text("utf-8")
    engineer.goto(f"{address}/files/limits/CP-40.toml")
    faulty = in_force.replace("lower = 9.6", 'lower = "nine"', 1).replace("upper = 10.4", "uper = 10.4", 1)
    engineer.fill("textarea", faulty)
    engineer.click("main form button")
    faults = engineer.locator(".trouble li").all_inner_texts()
    assert len(faults) >= 2, faults                     # all at once
    assert any("nine" in fault for fault in faults)
    assert "uper" in engineer.locator("textarea").input_value()     # nothing that was written is lost
    engineer.fill("textarea", in_force.replace("lower = 9.6", "lower = 9.7", 1))
    engineer.click("main form button")
    expect(engineer.locator("[role=status]")).to_be_visible()
    assert "+" in engineer.locator("pre.changes").inner_text()
    assert file.read_text("utf-8") == in_force


def test_an_engineer_watches_what_is_said_at_the_bench(desk, engineer, address, station, begin, awaiting):
    engineer.goto(f"{address}/bench")
    assert engineer.locator("main tbody tr").count() == 7
    panel = desk(Role.OPERATOR)
    begin(panel, "CP40-0003")
    expect(engineer.locator("#said")).to_contain_text("digitizer <", timeout=PATIENCE)     # nobody reloads it
    awaiting(panel, "pass")


def test_an_auditor_goes_from_a_paper_to_a_recomputed_record(auditor, address, tmp_path):
    auditor.goto(f"{address}/evidence/{BAD}/1")
    with auditor.expect_download() as download:
        auditor.click("#main a[download][href$='.pdf']")
    said = code_on(download.value.path(), tmp_path)
    auditor.goto(f"{address}/evidence")
    auditor.fill("[name=named]", said)
    auditor.press("[name=named]", "Enter")
    auditor.click(f"main td a:has-text('{BAD}')")
    auditor.click("button[value=recompute]")
    expect(auditor.locator("#proof .state")).to_have_count(13, timeout=PATIENCE)     # nobody reloads it
    assert auditor.locator("#proof .state.broken, #proof .state.doubtful").count() == 0
    assert auditor.locator("#proof .state.holds").count() > 8


def code_on(pdf, folder):
    """Return what a code reader finds on the first page of a certificate."""
    page = folder / "page"
    subprocess.run(["pdftoppm", "-r", "150", "-f", "1", "-l", "1", "-gray", "-png", "-singlefile", str(pdf), str(page)],
                   check=True)
    return subprocess.run(["zbarimg", "--quiet", "--raw", "-Sdisable", "-Sqrcode.enable", f"{page}.png"],
                          capture_output=True, text=True, check=True).stdout.strip()


def test_an_auditor_takes_the_evidence_away(auditor, address):
    auditor.fill("[name=named]", "CP40-*")
    auditor.press("[name=named]", "Enter")
    auditor.click(f"main td a:has-text('{GOOD}')")
    with auditor.expect_download() as download:
        auditor.click("a:has-text('record.json')")
    record = json.loads(download.value.path().read_bytes())
    assert (record["serial"], record["verdict"]) == (GOOD, "PASS")
    with auditor.expect_download() as download:
        auditor.click("a:has-text('everything.zip')")
    assert download.value.suggested_filename == f"{GOOD}-run1-everything.zip"
    with zipfile.ZipFile(download.value.path()) as archive:
        assert sum(name.endswith(".parquet") for name in archive.namelist()) == 4
        assert archive.testzip() is None


def test_a_keeper_lets_somebody_in_and_out_again(desk, address):
    keeper, other = desk(Role.KEEPER), desk()
    name, word = "H. Star", "a word of their own"
    keeper.fill("form[action='/people/add'] [name=name]", name)
    keeper.check("[name='role.auditor']")
    keeper.fill("form[action='/people/add'] [name=password]", word)
    keeper.click("form[action='/people/add'] button")
    expect(keeper.locator("tbody")).to_contain_text(name)
    other.goto(f"{address}/sign-in")
    other.fill("[name=name]", name)
    other.fill("[name=password]", word)
    other.click("main button")
    expect(other).to_have_url(f"{address}/evidence")
    keeper.click(f"form[action='/people/disable'] button[value='{name}']")
    expect(keeper.locator(f"tr:has-text('{name}') form")).to_have_count(0)
    other.reload()
    expect(other).to_have_url(f"{address}/sign-in?then=/evidence")     # at once, whatever the page still showed
