"""Limits moved on a page: the same counts as the command line, at once, and kept as a draft that holds."""

import json
import re
import shutil
import time
from contextlib import redirect_stdout
from html import unescape
from io import StringIO
from urllib.parse import parse_qsl

import pytest

from station.cli import program
from station.cli.serve import opened_site
from station.clock import system_clock
from station.judgement.limit_file import parse_limits
from station.record.record import sha256_of
from station.screens.access import Role
from station.sequence.opening import open_store
from station.sequence.station_file import load_station
from station.study.rejudge import VERDICTS
from station.toml_file import read_toml

IN_FORCE = {"file": "in-force/CP-40.toml"}
MOVED = {"lower:hall_sector_min": "59.9", "upper:drag_torque": "39", "moved": "lower:hall_sector_min"}
PATIENCE = 100      # s, of a loaded machine


@pytest.fixture(scope="module")
def site(tested, tmp_path_factory, peopled):
    """The tested station again, in a folder of its own."""
    folder = tmp_path_factory.mktemp("tried") / "line"
    shutil.copytree(tested.station.folder, folder)
    with opened_site(load_station(folder / "station.toml"), system_clock(), look_only=True) as opened:
        yield peopled(opened)


@pytest.fixture
def engineer(asked):
    return asked(Role.ENGINEER)


def page(client, **fields):
    """Return the page of a what-if once what it waits for is there."""
    end = time.monotonic() + PATIENCE
    while True:
        answer = client.get("/limits/what-if", params=fields)
        if "data-wait" not in answer.text:
            return answer
        assert time.monotonic() < end
        time.sleep(0.1)


def answer(client, **fields):
    page(client, **IN_FORCE)
    found = client.get("/limits/what-if/answer", params=fields, headers={"accept": "application/json"})
    return found.status_code, found.json()


def seen(text):
    return re.search(r'name="seen" value="(\w{64})"', text)[1]


def kept(client, site, name, **fields):
    """Keep what was moved as a draft; return the answer, and the file where there is one."""
    told = {"seen": seen(page(client, **{"file": fields.get("file", IN_FORCE["file"])}).text), "name": name,
            "number": "B", "note": "tried", **IN_FORCE, **fields}
    path = site.station.folder / "drafts" / "limits" / name
    return client.post("/limits/what-if/keep", data=told), path


def counts(markup):
    rows = re.findall(r"<tr><th scope=\"row\"><span class=\"verdict [a-z-]+\">([A-Z ]+)</span></th>(.*?)</tr>", markup)
    return {(old, new): int(count) for old, cells in rows
            for new, count in zip(VERDICTS, re.findall(r"<td[^>]*>(\d+)</td>", cells), strict=True)}


def test_the_answer_is_what_the_command_line_says_of_the_draft_that_is_kept(engineer, site):
    code, told = answer(engineer, **IN_FORCE, **MOVED)
    assert code == 200
    done, path = kept(engineer, site, "CP-40-B.toml", **MOVED)
    assert (done.status_code, done.headers["location"]) == (303, "/limits#CP-40-B.toml")
    with redirect_stdout(StringIO()) as printed:
        assert program.run(["study", "what-if", str(path), "--station", str(site.station.file), "--json"]) == 0
    report = json.loads(printed.getvalue())
    said = {(one["from"], one["to"]): one["tests"] for one in report["outcomes"][0]["verdicts"]}
    assert counts(told["answer"]) == said
    assert said["PASS", "FAIL"] == 1        # else the comparison would say little
    causes = re.findall(r"<tr><td>([\w.]+)</td><td>(PASS|FAIL)</td><td>(PASS|FAIL)</td><td>(\d+)</td><td>(\d+)</td>",
                        told["answer"])
    assert causes == [(one["limit"], one["from"], one["to"], str(one["alone"]), str(one["with_others"]))
                      for one in report["causes"]]
    for flip in report["shipped_and_not_passed"]:
        assert f'<a href="/tests/{flip["serial"]}/{flip["run"]}">' in told["answer"]
    assert "may be shipped and would not pass: 1" in told["answer"]


def test_the_address_of_an_answer_leads_to_the_same(engineer):
    _, told = answer(engineer, **IN_FORCE, **MOVED)
    again = engineer.get(told["address"])
    assert counts(again.text) == counts(told["answer"])
    assert 'name="lower:hall_sector_min" value="59.9"' in again.text
    assert 'aria-label="lower limit of hall_sector_min.' in again.text


def test_what_is_kept_is_the_file_with_other_bounds_and_the_trail_says_by_whom(engineer, site):
    before = (site.station.limits / "CP-40.toml").read_bytes()
    _, path = kept(engineer, site, "CP-40-C.toml", **MOVED, number="C", note="Sensors too early.")
    draft = parse_limits(read_toml(path))
    bounds = {limit.key: (limit.lower, limit.upper) for limit in draft.limits}
    assert (bounds["hall_sector_min"], bounds["drag_torque"]) == ((59.9, None), (None, 39.0))
    assert (draft.revision.number, draft.revision.note, draft.revision.released_by) == ("C", "Sensors too early.", None)
    assert "# Hall sensors: order, place, levels" in draft.text
    assert (site.station.limits / "CP-40.toml").read_bytes() == before
    said = json.loads(site.trail.entries(limit=100_000)[-1][1])
    assert (said["who"], said["what"]) == ("R. Fink", "save draft")
    assert sha256_of(path.read_bytes()) in said["about"]
    listed = engineer.get("/limits").text
    assert "Sensors too early." in listed
    assert re.search(r'id="CP-40-C.toml".*?<td>R. Fink</td>', listed, re.DOTALL)


def test_files_side_by_side_differ_where_their_limits_do_and_count_as_each_alone(engineer, site):
    kept(engineer, site, "CP-40-E.toml", **MOVED)
    _, told = answer(engineer, **IN_FORCE, **MOVED)
    text = engineer.get("/limits/compare", params={"a": "in-force/CP-40.toml", "b": "draft/CP-40-E.toml"}).text
    rows = dict(re.findall(r'<tr><th scope="row">([^<]+)</th>(<td.*?)</tr>', text))
    assert [key for key, cells in rows.items() if 'class="changed"' in cells] == [
        "May be shipped and would not pass", "hall_sector_min", "drag_torque"]
    assert "59.9 … °" in rows["hall_sector_min"]
    assert "accepted" in rows["hall_sector_min"]        # the rule draws the limit in by the uncertainty
    by_verdict = [sum(count for (_, new), count in counts(told["answer"]).items() if new == verdict)
                  for verdict in VERDICTS]
    assert f"<td>{' / '.join(map(str, by_verdict))}</td>" in rows["All 2 tests: PASS / FAIL / NO RESULT"]
    assert "+drag_torque" in text
    assert "lower limit narrower by 5.9" in text


def test_a_limit_that_only_one_file_has_differs(engineer, site):
    text = (site.station.limits / "CP-40.toml").read_text()
    fewer = "".join(line for line in text.splitlines(keepends=True) if not line.startswith("drag_torque"))
    assert engineer.post("/files/limits/fewer.toml", data={"text": fewer}).status_code == 200
    for first, second in (("draft/fewer.toml", "in-force/CP-40.toml"), ("in-force/CP-40.toml", "draft/fewer.toml")):
        page(engineer, **IN_FORCE)
        found = engineer.get("/limits/compare", params={"a": first, "b": second}).text
        cells = re.search(r'<tr><th scope="row">drag_torque</th>(.*?)</tr>', found)[1]
        assert cells.count("<td") == 2
        assert '<td class="changed">–</td>' in cells
        assert ('<td class="changed">… 40' in cells) == first.startswith("draft")


def test_limits_of_different_motors_are_not_compared(engineer):
    found = engineer.get("/limits/compare", params={"a": "in-force/CP-40.toml", "c": "in-force/VB-24.toml"})
    assert found.status_code == 400
    assert "limits of different motors" in found.text


def test_only_tests_of_the_days_asked_for_are_looked_at(engineer, site):
    with site.store() as store:
        day = store.show("CP40-0001")[0]["started"][:10]
    for fields, tests in (({"since": day}, 2), ({"until": day}, 0), ({"since": "2999-01-01"}, 0)):
        code, told = answer(engineer, **IN_FORCE, **MOVED, **fields)
        assert code == 200
        assert sum(counts(told["answer"]).values()) == tests
        assert next(iter(fields.values())) in told["address"]
    assert answer(engineer, **IN_FORCE, since="yesterday")[0] == 400


def test_numbers_may_have_a_comma(engineer):
    point, comma = (answer(engineer, **IN_FORCE, **MOVED | {"lower:hall_sector_min": text})[1]["answer"]
                    for text in ("58.25", "58,25"))
    assert point == comma


@pytest.mark.parametrize(("fields", "told"), [
    ({"lower:hall_sector_min": "nine"}, "that is no number"), ({"lower:hall_sector_min": "1e400"}, "that is no limit"),
    ({"lower:hall_sector_min": "nan"}, "that is no limit"), ({"lower:hall_duty": "60"}, "above the upper"),
    ({"lower:hall_duty": "1,000.5"}, "that is no number"), ({"file": "in-force/none.toml"}, "no such limit file"),
    ({"file": "draft/../../station.toml"}, "no name of a file"), ({"file": "elsewhere/CP-40.toml"}, "no limit file")])
def test_what_is_no_limit_is_refused_in_one_answer(engineer, fields, told):
    code, found = answer(engineer, **IN_FORCE | fields)
    assert code == 400
    assert told in found["what"]
    assert found["remedy"]


def test_a_draft_of_that_name_is_never_written_over_unseen(engineer, site, asked):
    done, path = kept(engineer, site, "CP-40-D.toml", number="D")
    assert done.status_code == 303
    was = path.read_bytes()
    again, _ = kept(asked(Role.RELEASER), site, "CP-40-D.toml", number="E", **MOVED)
    assert (again.status_code, path.read_bytes()) == (400, was)
    assert "changed meanwhile" in again.text
    # moved on by whoever looks at it, and stale for who looked before
    own = {"file": "draft/CP-40-D.toml", "number": "D"}
    earlier = seen(page(engineer, **own).text)
    assert kept(asked(Role.RELEASER), site, "CP-40-D.toml", **own, **MOVED)[0].status_code == 303
    late, _ = kept(engineer, site, "CP-40-D.toml", **own | {"seen": earlier})
    assert late.status_code == 400
    aside, other = kept(engineer, site, "CP-40-aside.toml", **own | {"seen": earlier})
    assert (aside.status_code, other.exists()) == (400, False)      # not under another name either
    assert parse_limits(read_toml(path)).sha256 != earlier


def test_a_type_without_tests_is_told(engineer):
    found = page(engineer, file="in-force/VB-24.toml")
    assert found.status_code == 400
    assert "there are no such tests" in unescape(found.text)


def test_what_came_since_is_told_and_taken_in_when_it_is_asked_for(engineer, site):
    before = page(engineer, **IN_FORCE).text
    with open_store(site.station) as store:
        store.add_statement("correction", {"format": 1, "what": "note"})
        size = len(store.log)
    text = page(engineer, **IN_FORCE).text
    assert "came since" not in before
    assert "1 came since." in text
    newest = unescape(re.search(r'<a href="([^"]*entries=[^"]*)">Take them in', text)[1])
    assert f"From the first {size} entries" in page(engineer, **dict(parse_qsl(newest.partition("?")[2]))).text
