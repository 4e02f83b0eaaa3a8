"""An engineer studies a motor type in a browser: from the choice of tests to one motor beside all others."""

import re

import pytest
from playwright.sync_api import expect

from station.cli.serve import opened_site
from station.clock import system_clock
from station.screens.access import Role
from station.sequence.station_file import load_station

MOTORS = 30             # of the population
PATIENCE = 300_000      # ms, of a loaded machine: the study is computed behind everything else


@pytest.fixture(scope="module")
def station(tmp_path_factory, peopled, population):
    """A station with a population drawn from a seed, to be looked at only."""
    folder = tmp_path_factory.mktemp("studied") / "line"
    population(folder)
    with opened_site(load_station(folder / "station.toml"), system_clock(), look_only=True) as site:
        yield peopled(site)


def titled(page, words):
    expect(page.locator("h1")).to_have_text(words, timeout=PATIENCE)


def test_from_the_choice_of_tests_to_one_motor_beside_all_others(desk, sound):
    page = desk(Role.ENGINEER)
    complaints = []
    page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
    page.click("nav a[href='/studies']")
    page.select_option("[name=type]", "CP-40")
    page.click("main form button")
    titled(page, "Study of CP-40")     # after a page that waits for it
    expect(page).to_have_url(re.compile(r"entries=\d+"))
    expect(page.locator("main")).to_contain_text(f"{MOTORS} motors, first attempts")
    assert page.locator("svg.chart").count() == 1
    sound(page, "studies-type")
    study = page.url

    page.click("td a:text-is('hall_placement.b@forward 1500')")
    titled(page, "hall_placement.b, forward 1500")
    assert page.locator("figure svg").count() == page.locator("figure details").count() == 3
    page.locator("figure summary").first.click()
    counts = page.locator("figure").first.locator("tbody tr td:nth-child(3)").all_inner_texts()
    assert sum(map(int, counts)) == MOTORS
    page.locator("figure summary").first.click()
    sound(page, "studies-one")

    page.goto(study)
    page.locator("section:has-text('What moves together') td a").first.click()
    titled(page, "Two characteristics")
    expect(page.locator("svg.chart")).to_be_visible()
    sound(page, "studies-pair")

    failed = page.locator("figure tbody tr").first
    page.locator("figure summary").first.click()
    serial = failed.locator("td").first.inner_text()
    page.goto(study.replace("/type?", "/motor?") + f"&serial={serial}&run=1")
    titled(page, f"{serial}, run 1, beside all others: FAIL")
    assert page.locator("polygon.band").count() == 3
    sound(page, "studies-motor")
    assert complaints == []


def test_a_gauge_study_is_planned_and_its_plan_is_shown(desk, sound):
    page = desk(Role.ENGINEER)
    page.click("nav a[href='/studies']")
    page.click("text=Gauge studies")
    page.fill("[name=study]", "G1")
    page.fill("[name=motors]", "CP40-A0001 CP40-A0002 CP40-A0003")
    page.click("text=Draw the plan")
    titled(page, "Gauge study G1: planned")
    assert page.locator("main table tbody tr").count() == 3
    assert page.locator("main ol li").count() == 3 * 3 * 3
    sound(page, "studies-gauge")
    page.click("text=All gauge studies")
    expect(page.locator("main table")).to_contain_text("0 / 27")
