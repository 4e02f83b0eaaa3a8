"""The operator's work in a browser: from the badge to the verdict, through reloads, faults and an opened guard."""

import pytest
from playwright.sync_api import expect

from station.screens.access import Role

PACE = 2.5              # a test takes some five seconds: time to reload a page in its middle
TESTED = ()
PATIENCE = 60_000       # ms, of a loaded machine
PANEL = (1920, 1080)


@pytest.fixture
def panel(desk):
    """The panel of the line, its operator signed in by badge."""
    return desk(Role.OPERATOR, PANEL)


def test_a_test_goes_on_through_reloads_a_second_browser_and_a_closed_one(
        desk, panel, address, begin, awaiting, pictures, station):
    begin(panel, "CP40-0001")
    panel.reload()
    awaiting(panel, "testing")                      # the true state, not the beginning
    expect(panel.locator("#line .order bdi")).to_have_text("CP40-0001")
    panel.screenshot(path=pictures / "panel-measuring.png")
    other = desk(Role.OPERATOR, PANEL)
    awaiting(other, "testing")
    panel.context.close()                           # nobody who looks is needed
    assert station.line.state.phase == "testing"
    awaiting(other, "pass")
    other.screenshot(path=pictures / "panel-pass.png")
    again = desk(Role.OPERATOR, PANEL)
    awaiting(again, "pass")
    for page in (other, again):
        expect(page.locator("#line .order bdi")).to_have_text("CP40-0001")
    station.fixture.open_guard()
    expect(other.locator("#line .guard-now")).to_have_text("Guard open", timeout=PATIENCE)
    station.fixture.close_guard()
    awaiting(other, "ready")                        # no verdict of a motor that may be gone
    assert "PASS" not in other.locator("#line h1").inner_text()


def test_a_defect_is_told_in_plain_words_with_what_to_do(panel, begin, awaiting, pictures):
    begin(panel, "CP40-0122")                       # weak magnets
    awaiting(panel, "fail")
    panel.screenshot(path=pictures / "panel-fail.png")
    line = panel.locator("#line")
    worst = line.locator(".worst li").all_inner_texts()
    assert 1 <= len(worst) <= 3
    assert all("at least" in row for row in worst), worst      # too little of what magnets make
    assert any("magnet" in said.lower() for said in line.locator(".detail").all_inner_texts())
    assert line.locator(".step").inner_text().strip()
    assert "1 of 2" in line.locator(".order").inner_text()


def test_two_panels_cannot_test_two_motors_at_once(desk, panel, station, put_in, awaiting, scanning):
    other = desk(Role.OPERATOR, PANEL)
    put_in(panel, "CP40-0003")
    scanning(other, "VB24-0001", "#line .hint")
    expect(other.locator("#line .order bdi")).to_have_text("CP40-0003")
    assert "CP40-0003" in other.locator("#line .hint").inner_text()
    station.fixture.press_start()
    awaiting(other, "pass")
    awaiting(panel, "pass")


def test_a_motor_that_passed_is_tested_again_by_an_engineers_leave_alone(panel, begin, awaiting, scanning, accounts):
    begin(panel, "VB24-0001")
    awaiting(panel, "pass")
    scanning(panel, "VB24-0001", "#line .state.refused, #line .hint")
    panel.locator("#line a.act[href*=leave]").click()
    for field, value in accounts[Role.ENGINEER].items():
        panel.fill(f"[name={field}]", value)
    panel.fill("[name=reason]", "the plug had come off")
    panel.click("main button")
    panel.locator("#line .state.start, #line .state.change").wait_for()
    assert "2 of" in panel.locator("#line .order").inner_text()
    panel.locator("form[action='/line/withdraw'] button").click()
    awaiting(panel, "stopped")


def test_an_instrument_that_fails_in_mid_test_is_no_verdict_and_the_next_motor_is_tested(
        panel, begin, awaiting, side, pictures):
    begin(panel, "CP60-0001")
    side.fault("digitizer", "restart")
    awaiting(panel, "no-result")
    panel.screenshot(path=pictures / "panel-no-result.png")
    line = panel.locator("#line")
    assert line.locator(".step").inner_text().strip()
    told = " ".join(line.locator(".detail").all_inner_texts())
    assert "digitizer" in told
    assert "CP60-0001 / 1" in told                  # a number to give to whoever is called
    assert side.struck("digitizer") == ["restart"]
    begin(panel, "CP60-0001")
    awaiting(panel, "pass")
    assert "CP60-0001" in panel.locator("#line .order").inner_text()


@pytest.mark.parametrize("what", ["guard", "emergency stop"])
def test_an_opened_guard_or_an_emergency_stop_is_no_verdict(panel, station, begin, awaiting, pictures, what):
    begin(panel, "CP40-0113" if what == "guard" else "CP40-0119")     # each test has motors of its own
    if what == "guard":
        station.fixture.open_guard()
    else:
        station.fixture.emergency_stop(pressed=True)
    try:
        awaiting(panel, "stopped")
        if what == "guard":     # and it stays to be read, however often the guard is looked at
            expect(panel.locator("#line .guard-now")).to_have_text("Guard open", timeout=PATIENCE)
        assert panel.locator("#line .state.stopped").count() == 1
        panel.screenshot(path=pictures / f"panel-stopped-{what.replace(' ', '-')}.png")
        assert panel.locator("#line .state.pass, #line .state.fail").count() == 0
        assert panel.locator("#line .step").inner_text().strip()
        assert what in " ".join(panel.locator("#line .detail").all_inner_texts()).lower()
    finally:
        station.fixture.emergency_stop(pressed=False)
    state = side_state(station)
    assert (state["drive_on"], state["sensor_supply_on"], state["insulation_V"] < 25) == (False, False, True)


def side_state(station):
    """Return what an eye sees at the bench."""
    rig = station.fixture.rig
    return {"drive_on": rig.shaft.enabled, "sensor_supply_on": rig.sensor_supply_on,
            "insulation_V": rig.insulation_voltage()}
