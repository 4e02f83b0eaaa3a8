"""Limits in the browser: moved by hand until too many would fail, kept, looked at by a second person, and in force."""

import re

import pytest
from playwright.sync_api import expect

from station.judgement.limit_file import parse_limits
from station.screens.access import Role
from station.screens.demo_people import PASSWORD
from station.toml_file import read_toml

TRIED = "/limits/what-if?file=in-force/CP-40.toml"
PATIENCE = 60_000       # ms, of a loaded machine
BOUND = "upper:drag_torque"


def gathered(page, address):
    """Open the what-if; the first time it waits until the tests are gathered."""
    page.goto(address + TRIED)
    page.locator("#answer").wait_for()


@pytest.fixture
def complaints():
    return []


@pytest.fixture
def watched(desk, complaints):
    """Return a function that sits down as a role, whose page's complaints are gathered."""
    def sit_down(role, **more):
        page = desk(role, **more)
        page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        return page
    return sit_down


@pytest.mark.parametrize("size", [(1280, 800), (700, 900)])
def test_a_limit_that_is_moved_tells_at_once_what_would_fail(watched, complaints, address, sound, size):
    page = watched(Role.ENGINEER, size=size)
    gathered(page, address)
    slider, typed = page.locator(f"[data-of='{BOUND}']"), page.locator(f"[name='{BOUND}']")
    changed = page.locator(".counts td.changed")
    assert changed.count() == 0
    slider.focus()
    page.keyboard.press("Home")                 # all the way down: the good motor would not pass
    expect(changed).to_have_text("1", timeout=PATIENCE)
    assert float(typed.input_value()) == float(slider.get_attribute("min"))
    expect(page.locator("#answer")).to_contain_text("CP40-0001")
    expect(page.locator("#answer svg title")).to_have_text("upper limit of drag_torque")
    assert "drag_torque" in page.url            # so that the address leads here again
    typed.fill("forty")
    expect(page.locator("#refused")).to_contain_text("that is no number", timeout=PATIENCE)
    complaints[:] = [said for said in complaints if "400" not in said]      # as was to be
    typed.fill("40")
    expect(changed).to_have_count(0, timeout=PATIENCE)
    expect(page.locator("#refused")).to_be_hidden()
    sound(page, f"limits-what-if-{size[0]}")
    assert complaints == []


def test_from_a_moved_limit_to_one_in_force(watched, complaints, address, station, sound):
    engineer, releaser = watched(Role.ENGINEER), watched(Role.RELEASER)
    gathered(engineer, address)
    engineer.locator(f"[name='{BOUND}']").fill("39")
    engineer.locator("[name=name]").fill("tried.toml")
    engineer.locator("[name=note]").fill("Quieter bearings.")
    engineer.get_by_role("button", name="Check and keep").click()
    engineer.locator("[id='tried.toml']").wait_for()
    sound(engineer, "limits-list")
    engineer.goto(f"{address}/limits/compare?a=in-force/CP-40.toml&b=draft/tried.toml")
    expect(engineer.locator("tr:has-text('drag_torque') td.changed")).to_contain_text("39")
    sound(engineer, "limits-compare")
    releaser.goto(f"{address}/limits")
    releaser.get_by_role("link", name="Release tried.toml").click()
    releaser.get_by_role("button", name="Make the study").click()
    releaser.locator("[name=token]").wait_for(state="attached", timeout=PATIENCE)
    expect(releaser.locator("main")).to_contain_text("Written by R. Fink.")
    sound(releaser, "limits-release")
    releaser.locator("[name=reason]").fill("The supplier changed the bearings.")
    releaser.locator("[name=password]").fill(PASSWORD)
    releaser.get_by_role("button", name=re.compile("in force")).click()
    expect(releaser.locator("main")).to_contain_text("The supplier changed the bearings.", timeout=PATIENCE)
    sound(releaser, "limits-released")
    now = parse_limits(read_toml(station.station.limits / "CP-40.toml"))
    assert (now.revision.number, now.revision.released_by) == ("B", "S. Olm")
    assert complaints == []
