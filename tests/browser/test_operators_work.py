"""The operator's work in a browser: from the badge to the verdict, through faults and an opened guard.

What goes wrong is armed while START is waited for, and counted in messages, so that it strikes in mid-test however
slow the browser is. Each test has motors of its own.
"""

import pytest
from playwright.sync_api import expect

from station.screens.access import Role

TESTED = ()
PATIENCE = 60_000       # ms, of a loaded machine
PANEL = (1920, 1080)


@pytest.fixture
def panel(desk):
    """The panel of the line, its operator signed in by badge."""
    return desk(Role.OPERATOR, PANEL)


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


@pytest.fixture
def drawn_by_hand(desk):
    """A panel that the station draws when it is loaded, and nobody but the test after that."""
    page = desk(Role.OPERATOR, PANEL)
    page.add_init_script("""const add = EventSource.prototype.addEventListener;
        EventSource.prototype.addEventListener = function (kind, heard) {
          if (kind !== "state") add.call(this, kind, heard);
        };""")
    return page


def test_what_is_drawn_anew_under_a_press_is_pressed_if_it_is_still_the_same(panel, drawn_by_hand, put_in, awaiting):
    sent = []

    def press(drawn):
        drawn_by_hand.reload()
        awaiting(drawn_by_hand, "start")
        box = drawn_by_hand.locator("form[action='/line/withdraw'] button").bounding_box()
        drawn_by_hand.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        drawn_by_hand.mouse.down()
        drawn_by_hand.evaluate(f"() => {{ const line = document.getElementById('line'); line.innerHTML = {drawn}; }}")
        drawn_by_hand.mouse.up()

    put_in(panel, "VB24-0002")
    drawn_by_hand.on("request", lambda request: sent.append(request.url) if request.method == "POST" else None)
    press("line.innerHTML.replace('/line/withdraw', '/elsewhere')")
    press("line.innerHTML")
    awaiting(panel, "stopped")
    assert [url.rpartition("/")[2] for url in sent] == ["withdraw"]


def test_an_instrument_that_fails_in_mid_test_is_no_verdict_and_the_next_motor_is_tested(
        panel, station, put_in, begin, awaiting, side, pictures):
    put_in(panel, "CP60-0001")
    side.fault("digitizer", "restart", after=5)
    station.fixture.press_start()
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


@pytest.mark.parametrize(("kind", "what", "serial"), [
    ("guard_opened", "guard", "CP40-0113"), ("emergency_stop", "emergency stop", "CP40-0119")])
def test_an_opened_guard_or_an_emergency_stop_is_no_verdict(
        panel, station, put_in, awaiting, side, pictures, kind, what, serial):
    put_in(panel, serial)
    side.fault("drive", kind, after=24)      # while the shaft turns
    station.fixture.press_start()
    try:
        awaiting(panel, "stopped")
        if kind == "guard_opened":      # and it stays to be read, however often the guard is looked at
            expect(panel.locator("#line .guard-now")).to_have_text("Guard open", timeout=PATIENCE)
        assert panel.locator("#line .state.stopped").count() == 1
        panel.screenshot(path=pictures / f"panel-stopped-{what.replace(' ', '-')}.png")
        assert panel.locator("#line .step").inner_text().strip()
        assert what in " ".join(panel.locator("#line .detail").all_inner_texts()).lower()
    finally:
        station.fixture.emergency_stop(pressed=False)
    seen = side.state()
    assert (seen["drive_on"], seen["sensor_supply_on"], seen["insulation_V"] < 25) == (False, False, True)
    assert side.struck("drive") == [kind]
