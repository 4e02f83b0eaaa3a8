"""`station study drift`, and what drift says at the line: from one real check, with later ones moved bit by bit."""

import json
from copy import deepcopy

import pytest

from station.cli.setup import write_folder
from station.exit_code import ExitCode
from station.record.store import Store

NAME = "back_emf_constant_fundamental.ab"
PLACE = ("check", "last_run", "suspects", "log")     # what the store fills in


@pytest.fixture
def line(tmp_path, command):
    """A starter folder with one reference check."""
    write_folder(tmp_path / "line", pace=20.0, free_ports=True)
    assert command("reference", "check", "--type", "CP-40", "--station", tmp_path / "line" / "station.toml")[0] == 0
    return tmp_path / "line"


@pytest.fixture
def station(line, command):
    """Run `station WORDS --station FILE` in that folder."""
    return lambda *words: command(*words, "--station", line / "station.toml")


def add_checks(line, deviations):
    """Store further checks in which one characteristic is off by so many u, and the others by little."""
    other = 0.3
    with Store(line / "store") as store:
        first = {key: value for key, value in store.reference_checks()[0].items() if key not in PLACE}
        for deviation in deviations:
            made, other = deepcopy(first), -other
            for row in made["motors"][0]["compared"]:
                if row["u"]:
                    off = deviation if row["name"] == NAME else other
                    row["value"] = row["expected"] + off * max(row["u"], row["expected_u"])
            store.add_reference_check(made)


def test_drift_warns_at_the_line_and_stops_it_where_asked(line, station):
    code, out, _ = station("study", "drift")
    assert (code, "499.7" in out, "370.4" in out) == (0, True, True)
    assert "drift" not in station("test", "CP40-0001")[1]     # a hundred and fifty charts, and no false alarm

    add_checks(line, [0.3, -0.3] * 5 + [1.0])
    code, out, _ = station("test", "CP40-0003")
    assert (code, "! the reference motors drift: 4 of" in out, "0 of them far" in out, f"{NAME} @" in out) == (
        0, True, True, True), out

    add_checks(line, [1.5] * 6)
    code, out, _ = station("study", "drift", "--out", line / "plots", "--characteristic", NAME)
    assert (code, "4 far off" in out, "the mean is off by" in out) == (0, True, True), out
    assert len(list((line / "plots").glob("*.svg"))) == len(list((line / "plots").glob("*.png"))) == 4
    report = json.loads(station("study", "drift", "--characteristic", NAME, "--json", "--out", line / "plots")[1])
    assert [len(chart["points"]) for chart in report["charts"]] == [18] * 4
    assert report["rules"]["limit"] == 2.962
    code, out, _ = station("test", "CP40-0004")
    assert (code == ExitCode.BENCH_NOT_FIT, "4 of them far" in out) == (False, True)

    path = line / "station.toml"
    path.write_text(path.read_text() + "\n[drift]\nstop = true\n")
    with Store(line / "store", read_only=True) as store:
        tested = len(store.find())
    code, _, err = station("test", "CP40-0003")
    assert (code, "the bench has drifted" in err, NAME in err) == (ExitCode.BENCH_NOT_FIT, True, True)
    with Store(line / "store", read_only=True) as store:
        assert len(store.find()) == tested                  # nothing moved, nothing was recorded
    assert station("study", "drift", "--characteristic", "colour")[0] == ExitCode.WRONG_USE


def test_a_check_tells_drift_too(line, station):
    add_checks(line, [1.8] * 9)
    code, out, _ = station("reference", "check", "--type", "CP-40")
    assert code == 0
    assert "! the reference motors drift" in out
    assert "! the reference motors drift" not in station(
        "reference", "check", "--type", "CP-40", "--done", "cable exchanged")[1]
