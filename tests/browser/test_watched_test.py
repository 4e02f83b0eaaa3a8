"""A running test, whoever looks on: reloads, a second browser, and one that is closed."""

from playwright.sync_api import expect

from station.screens.access import Role

PACE = 1.0              # as at a real bench: a test takes ten seconds, time for all of it
TESTED = ()
PATIENCE = 60_000       # ms, of a loaded machine
PANEL = (1920, 1080)


def test_a_test_goes_on_through_reloads_a_second_browser_and_a_closed_one(
        desk, begin, awaiting, pictures, station):
    panel, other, again = (desk(Role.OPERATOR, PANEL) for _ in range(3))
    begin(panel, "CP40-0001")
    awaiting(panel, "testing")
    panel.reload()
    awaiting(panel, "testing")                      # the true state, not the beginning
    expect(panel.locator("#line .order bdi")).to_have_text("CP40-0001")
    panel.screenshot(path=pictures / "panel-measuring.png")
    awaiting(other, "testing")
    panel.context.close()                           # nobody who looks is needed
    assert station.line.state.phase == "testing"
    awaiting(other, "pass")
    other.screenshot(path=pictures / "panel-pass.png")
    again.reload()
    awaiting(again, "pass")
    for page in (other, again):
        expect(page.locator("#line .order bdi")).to_have_text("CP40-0001")
    station.fixture.open_guard()
    expect(other.locator("#line .guard-now")).to_have_text("Guard open", timeout=PATIENCE)
    station.fixture.close_guard()
    awaiting(other, "ready")                        # no verdict of a motor that may be gone
    assert "PASS" not in other.locator("#line h1").inner_text()
