"""Studies of a motor type on the screen: the same numbers as the command line, of the tests chosen, in every chart."""

import csv
import io
import json
import re
import time
from contextlib import redirect_stdout

import numpy as np
import pytest

from station.cli import program
from station.cli.serve import opened_site
from station.clock import system_clock
from station.screens.access import Role
from station.sequence.station_file import load_station

MOTORS = 30     # of the population
KEY = "hall_placement.c@forward 1500"
PLAIN = {"type": "CP-40"}


@pytest.fixture(scope="module")
def site(tmp_path_factory, peopled, population):
    """A station with a population drawn from a seed, to be looked at only."""
    folder = tmp_path_factory.mktemp("studied") / "line"
    population(folder)
    with opened_site(load_station(folder / "station.toml"), system_clock(), look_only=True) as opened:
        yield peopled(opened)


@pytest.fixture
def engineer(asked):
    return asked(Role.ENGINEER)


def study(client, page, **query):
    """Return the answer once what it waits for is there."""
    answer = client.get(f"/studies/{page}", params=PLAIN | query, follow_redirects=True)
    end = time.monotonic() + 200
    while "data-wait" in answer.text:
        assert time.monotonic() < end
        key = re.search(r'data-wait="(/studies/running[^"]*)"', answer.text)[1]
        while client.get(key.replace("&amp;", "&")).json()["running"]:
            assert time.monotonic() < end
            time.sleep(0.05)
        answer = client.get(answer.url)
    return answer


@pytest.fixture(scope="module")
def said(site):
    """What the command line says of the same tests."""
    with redirect_stdout(io.StringIO()) as printed:
        assert program.run(["study", "type", "CP-40", "--station", str(site.station.file), "--json"]) == 0
    return json.loads(printed.getvalue())


def one_of(said):
    return next(one for one in said["characteristics"] if one["key"] == KEY)


def facts(text):
    """Return the facts of one characteristic by their names."""
    pairs = re.findall(r"<dt>(.*?)</dt><dd>(.*?)</dd>", text, re.DOTALL)
    return {name: re.sub(r"[\u00a0\u2009]", " ", value).replace("\u2212", "-") for name, value in pairs}


def tables(text):
    """Return the rows of each table of a page, as texts."""
    return [[re.findall(r"<td[^>]*>(.*?)</td>", row, re.DOTALL) for row in re.findall(r"<tr[^>]*>(.*?)</tr>", body)]
            for body in re.findall(r"<tbody>(.*?)</tbody>", text, re.DOTALL)]


def test_the_page_says_what_the_command_line_says(engineer, said):
    page = study(engineer, "type").text
    for line in said["about"]:
        assert line in page
    assert said["motors"] == MOTORS
    for one in said["characteristics"]:
        assert one["key"] in page


def test_an_address_finds_the_same_tests_again(engineer, site):
    answer = study(engineer, "type", since="2020-01-01", without="CP40-A0001, CP40-A0002")
    with site.store() as store:
        size = len(store.log)
    assert answer.url.params["entries"] == str(size)
    assert f"{MOTORS - 2} motors, first attempts with a result, failures included, since 2020-01-01, without " \
           "CP40-A0001, CP40-A0002" in answer.text
    assert engineer.get(answer.url).text == answer.text     # kept, and not computed again
    assert site.studies.running() is None


def test_one_characteristic_agrees_with_the_command_line(engineer, said):
    page, one = study(engineer, "one", key=KEY), one_of(said)
    found = facts(page.text)
    assert found["n"] == str(one["n"])
    assert float(found["Mean"].split()[0]) == pytest.approx(one["shape"]["mean"], rel=1e-5)
    assert float(found["s"].split()[0]) == pytest.approx(one["shape"]["s"], rel=1e-2)
    ppk = one["capability"]["ppk"]
    shown = [float(part) for part in re.findall(r"-?[0-9.]+", found["Ppk (95 % interval)"])]
    assert shown == pytest.approx([ppk["value"], ppk["low"], ppk["high"]], rel=1e-2)
    for remark in one["remarks"]:
        assert remark["text"] in page.text
    assert page.text.count("<svg") == 3


def test_the_limit_of_a_characteristic_can_be_moved_from_there(engineer):
    address = re.search(r'href="(/limits/what-if[^"]*)"', study(engineer, "one", key=KEY).text)[1].replace("&amp;", "&")
    answer = engineer.get(address)
    assert answer.status_code == 200
    assert answer.url.params["moved"] == "lower:hall_placement"
    assert answer.url.params["file"] == "in-force/CP-40.toml"


def test_every_chart_has_the_same_as_a_table(engineer):
    page = study(engineer, "one", key=KEY).text
    assert page.count("<svg") == page.count("<details><summary>The same as a table</summary>") == 3
    bins = re.findall(r"<tr><td>([^<]*)</td><td>([^<]*)</td><td>(\d+)</td></tr>", page)
    assert sum(int(count) for *_, count in bins) == MOTORS


def test_every_value_can_be_taken_away(engineer, said, site):
    answer = study(engineer, "values.csv", key=KEY)
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    values = [float(row[f"{KEY} [deg]"]) for row in rows]
    assert len(values) == MOTORS
    assert sum(values) / MOTORS == pytest.approx(one_of(said)["shape"]["mean"])
    assert rows[0].keys() >= {"serial", "run", "lot", "station", "verdict"}
    assert answer.headers["content-disposition"].startswith("attachment")
    exports = [body.decode() for _, body in site.trail.entries() if b'"export"' in body]
    assert any(KEY in body and "type=CP-40" in body for body in exports)


def test_the_matrix_holds_the_correlations_of_the_strongest_pairs(engineer, said):
    page = study(engineer, "pair").text
    shown = {(pair["first"], pair["second"]): pair["r"]["value"] for pair in said["pairs"]}
    heads = re.findall(r'<th scope="col"><span>([^<]*)</span>', page)
    rows = re.findall(r'<tr><th scope="row">([^<]*)</th>(.*?)</tr>', page, re.DOTALL)
    assert [name for name, _ in rows] == heads
    found = {}
    for name, cells in rows:
        inside = re.findall("<td[^>]*>(.*?)</td>", cells.replace("\u2212", "-"))
        texts = [re.sub("<[^>]*>", "", cell) for cell in inside]
        found |= {(name, head): text for head, text in zip(heads, texts, strict=True)}
    assert shown
    for pair, r in shown.items():
        assert float(found[pair]) == float(found[pair[::-1]]) == pytest.approx(r, rel=0.06)
        assert float(found[pair[0], pair[0]]) == 1


def test_verdicts_are_told_apart_by_shape_as_well(engineer, site):
    page = study(engineer, "pair", across="hall_sector_min@forward 1500", up="hall_sector_max@forward 1500").text
    with site.store() as store:
        failed = [record["serial"] for record in store.find(verdict="FAIL")]
    assert failed, "the population is drawn with bad motors among them"
    crosses = re.search(r'<path class="mark cross failed" d="([^"]*)"', page)[1]
    dots = re.search(r'<path class="mark dot passed" d="([^"]*)"', page)[1]
    assert 1 <= crosses.count("M") <= len(failed)
    assert dots.count("M") > 1
    assert f"{MOTORS} tests have both values" in page
    assert {row[0] for row in tables(page)[0]} == set(failed)


@pytest.mark.parametrize(("page", "query"), [
    ("type", {"since": "yesterday"}), ("type", {"limits": "xyz"}), ("type", {"entries": "1e3"}), ("type", {"type": ""}),
    ("type", {"entries": "3"}), ("type", {"until": "2020-01-01"}), ("one", {"key": "nothing"}), ("one", {}),
    ("one", {"key": KEY, "draft": "absent.toml"}), ("pair", {"across": KEY, "up": "nothing"}), ("values.csv", {}),
])
def test_what_cannot_be_studied_is_told_with_what_to_do(engineer, page, query):
    answer = study(engineer, page, **query)
    assert answer.status_code == 400
    assert 'role="alert"' in answer.text
    assert "the program made a mistake" not in answer.text


def test_a_draft_is_drawn_beside_the_limits(engineer, site):
    in_force = (site.station.limits / "CP-40.toml").read_text("utf-8")
    draft = re.sub(r'^"?hall_placement"? = .*$', 'hall_placement = { unit = "deg", lower = -2.5, upper = 3.25 }',
                   in_force, flags=re.MULTILINE)
    saved = engineer.post("/files/limits/CP-40-narrow.toml", data={"text": draft})
    assert saved.status_code == 200
    plain, drawn = (study(engineer, "one", key=KEY, draft=name).text for name in ("", "CP-40-narrow.toml"))
    assert 'polyline class="draft"' not in plain
    assert drawn.count('polyline class="draft"') == 4       # both limits, in the histogram and over the tests


def test_one_motor_beside_all_others(engineer, site):
    with site.store() as store:
        waves = [next(plot for plot in record["plots"] if plot["label"] == "reverse 1500") for record in store.find()]
    page = study(engineer, "motor", serial="CP40-A0003", run="1", capture="reverse 1500").text
    assert page.count("<svg") == page.count('polygon class="band"') == page.count('polyline class="wave ab own"') == 3
    at = waves[0]["angle_deg"].index(90.0)
    edges = np.quantile([plot["volts_per_krpm"]["ca"][at] for plot in waves], (0.05, 0.5, 0.95))
    row = next(row for row in tables(page)[-1] if row[0] == "90°")
    assert [float(cell) for cell in row[2:]] == pytest.approx(edges.tolist(), rel=1e-3)
    assert study(engineer, "motor", serial="CP40-A0003", run="2").status_code == 400


def test_studies_are_for_engineers_and_releasers(asked):
    assert asked(Role.RELEASER).get("/studies").status_code == 200
    for role in (Role.AUDITOR, Role.KEEPER):
        assert asked(role).get("/studies").status_code == 403
