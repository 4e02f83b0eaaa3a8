"""Gauge studies and drift charts on the screen: planned, under way, broken off, gone on with, and what came of it."""

import importlib.util
import io
import json
import re
import shutil
import tarfile
import time
from contextlib import redirect_stdout
from copy import deepcopy
from pathlib import Path

import numpy as np
import pytest

from station.cli import program
from station.cli.serve import opened_site
from station.cli.setup import write_folder
from station.clock import system_clock
from station.record.kept_files import keep_file
from station.record.store import Store
from station.screens.access import Role
from station.sequence.gauge_plan import parse_plan
from station.sequence.station_file import load_station
from station.toml_file import read_toml

TESTS = Path(__file__).parents[1]
MOTORS = ("CP40-0001", "CP40-0002", "CP40-0003")
NAMES = ("hall_placement.a", "hall_placement.b")
KEY = "hall_placement.b@forward 1000"
ASKED = {"study": "G1", "by": "refit", "motors": ", ".join(MOTORS), "levels": "round 1, round 2", "repeats": "2",
         "seed": "5"}


@pytest.fixture(scope="module")
def records():
    """The module that makes records as a station stores them."""
    spec = importlib.util.spec_from_file_location("drawn_records", TESTS / "study" / "drawn_records.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A starter folder whose store holds a few tests and one reference check, as an earlier station wrote them."""
    folder = tmp_path_factory.mktemp("gauge") / "line"
    write_folder(folder, pace=50.0, free_ports=True)
    with tarfile.open(TESTS / "golden" / "signed-log.tar.xz") as earlier:
        earlier.extractall(folder / "earlier", filter="data")
    shutil.move(folder / "earlier" / "one_of_each" / "store", folder / "store")
    return folder


@pytest.fixture(scope="module")
def site(folder, peopled):
    with opened_site(load_station(folder / "station.toml"), system_clock(), look_only=True) as opened:
        yield peopled(opened)


@pytest.fixture
def engineer(asked):
    return asked(Role.ENGINEER)


def open_for_writing(folder):
    return Store(folder / "store", origin="eol-1")


def make_runs(folder, records, plan, numbers, *, trouble=False):
    """Store runs of the plan, with values drawn by number."""
    limits = records.limits_of([records.limit_line(f"{name}@forward 1000", -4.0, 4.0) for name in NAMES])
    with open_for_writing(folder) as store:
        keep_file(store.folder, plan.text.encode())
        for number in numbers:
            planned = plan.runs[number - 1]
            random = np.random.default_rng([number, len(planned.motor)])
            measured = {(name, "forward 1000"): (MOTORS.index(planned.motor) + 0.02 * float(random.normal()), 0.05)
                        for name in NAMES}
            record = records.record_of(planned.motor, measured, limits, purpose=planned.place.purpose, trouble=trouble)
            records.store_record(store, record | {"gauge_run": planned.place.as_record()})


def shown(client, path):
    """Return the page once what it waits for is there."""
    answer = client.get(path)
    end = time.monotonic() + 120
    while "data-wait" in answer.text:
        assert time.monotonic() < end
        time.sleep(0.1)
        answer = client.get(path)
    return answer


def test_a_study_from_plan_to_report(engineer, site, folder, records):
    assert engineer.post("/studies/gauge", data=ASKED).headers["location"] == "/studies/gauge/G1"
    page = engineer.get("/studies/gauge/G1").text
    assert "Gauge study G1: planned" in page
    assert "station study gauge run gauge/G1.toml" in page
    plan = parse_plan(read_toml(folder / "gauge" / "G1.toml"))
    assert len(plan.runs) == 12
    assert any(b"plan gauge study" in body and plan.sha256.encode() in body for _, body in site.trail.entries())

    make_runs(folder, records, plan, (1, 2, 3))
    page = engineer.get("/studies/gauge/G1").text
    assert "Gauge study G1: under way" in page
    assert "3 of 12 runs count" in page
    assert page.count("2 / 2 ✓") == 1

    make_runs(folder, records, plan, (4,), trouble=True)
    page = engineer.get("/studies/gauge/G1").text
    assert "Gauge study G1: interrupted" in page
    assert "guard opened" in page

    make_runs(folder, records, plan, range(3, 13))      # the fitting is made again from its first run
    page = shown(engineer, "/studies/gauge/G1").text
    assert "Gauge study G1: complete" in page
    assert "12 of 12 runs count. 1 count no more" in page
    assert "1 could not finish" in page
    assert_as_at_the_command_line(engineer, site, page)
    assert "Left out of this report" in shown(engineer, "/studies/gauge/G1?without=CP40-0002").text
    for query in ("/value?key=nothing", "?without=CP40-9999", "?without=CP40-0001+CP40-0002"):
        assert shown(engineer, f"/studies/gauge/G1{query}").status_code == 400


def assert_as_at_the_command_line(engineer, site, page):
    with redirect_stdout(io.StringIO()) as printed:
        assert program.run(["study", "gauge", "report", "G1", "--station", str(site.station.file), "--json"]) == 0
    said = json.loads(printed.getvalue())
    assert {one["key"] for one in said["values"]} == {f"{name}@forward 1000" for name in NAMES}
    for words in (*said["remarks"], said["meaning"]):
        assert words in page
    one = next(one for one in said["values"] if one["key"] == KEY)
    value = shown(engineer, f"/studies/gauge/G1/value?key={KEY}").text
    assert f"{KEY}, Gauge study G1: {one['word']}" in value
    for component in one["components"].values():
        assert f"<td>{component['sd']:.4g}</td>" in value
    assert value.count("<svg") == value.count("The same as a table") == 3
    marks = re.findall(r'<path class="mark \w+ group\d" d="([^"]*)"', value)
    assert sum(path.count("M") for path in marks[:4]) >= 12     # every run, and a mark for each level beside its name


@pytest.mark.parametrize("asked_for", [
    {"study": "../G2"}, {"study": ""}, {"by": "moon"}, {"motors": "CP40-0001"}, {"motors": "XX-1, XX-2"},
    {"motors": "CP40-0001, VB24-0001"}, {"repeats": "1"}, {"repeats": "x"}, {"seed": ""}, {"levels": "one"},
])
def test_a_plan_that_cannot_be_is_refused_and_not_kept(engineer, site, asked_for):
    answer = engineer.post("/studies/gauge", data=ASKED | {"study": "G9"} | asked_for)
    assert answer.status_code == 400
    assert 'role="alert"' in answer.text
    assert "G9" not in engineer.get("/studies/gauge").text
    assert not list(site.station.folder.glob("**/G[29].toml"))


def test_more_runs_than_anybody_makes_are_refused_before_they_are_drawn(engineer):
    motors = " ".join(f"CP40-{number:04}" for number in range(60))
    answer = engineer.post("/studies/gauge", data=ASKED | {"study": "G9", "motors": motors, "repeats": "42"})
    assert answer.status_code == 400
    assert "too many runs for a study" in answer.text


def test_a_plan_is_never_written_over(engineer, folder):
    asked_for = ASKED | {"study": "G3"}
    assert engineer.post("/studies/gauge", data=asked_for).status_code == 303
    kept = (folder / "gauge" / "G3.toml").read_bytes()
    assert engineer.post("/studies/gauge", data=asked_for | {"seed": "6"}).status_code == 400
    assert (folder / "gauge" / "G3.toml").read_bytes() == kept


@pytest.mark.parametrize("path", ["/studies/gauge/none", "/studies/gauge/..%2fG1", "/studies/gauge/none/value?key=x",
                                  "/studies/drift/chart?serial=nobody", "/studies/drift?checks=0",
                                  "/studies/drift?checks=1e3"])
def test_what_is_not_there_is_told(engineer, path):
    assert shown(engineer, path).status_code in (400, 404)


def test_a_drift_is_charted_and_ringed(engineer, folder):
    with open_for_writing(folder) as store:
        first = {key: value for key, value in store.reference_checks()[0].items()
                 if key not in ("check", "last_run", "suspects", "log")}
        row = next(row for row in first["motors"][0]["compared"] if row["u"])
        for step in range(6):
            made = deepcopy(first)
            again = next(one for one in made["motors"][0]["compared"]
                         if (one["name"], one["label"]) == (row["name"], row["label"]))
            again["value"] = again["expected"] + step * max(again["u"], again["expected_u"] or 0.0)
            store.add_reference_check(made)
    page = engineer.get("/studies/drift").text
    first_row = re.search(r"<tbody><tr[^>]*>(.*?)</tr>", page, re.DOTALL)[1]
    assert row["name"] in first_row     # the worst first
    assert "FAR OFF" in first_row
    chart = engineer.get(re.search(r'href="(/studies/drift/chart[^"]*)"', first_row)[1].replace("&amp;", "&")).text
    assert 'class="mark diamond failed"' in chart
    assert chart.count("<svg") == chart.count("The same as a table") == 2
    assert chart.count("<tr><td>") == 2 * 7     # each check in both tables
