"""`station study gauge` on the embedded bench: planned, broken off, gone on with, reported; no part of production."""

import json

import numpy as np
import pytest
from pypdf import PdfReader

from station.cli import study_gauge
from station.exit_code import ExitCode
from station.record.kept_files import kept_file
from station.record.store import Store

MOTORS = ("CP40-0001", "CP40-R001")


@pytest.fixture
def station(folder, command):
    """Run `station study gauge WORDS --station FILE` in a starter folder."""
    return lambda *words: command("study", "gauge", *words, "--station", folder / "station.toml")


def records_of(folder):
    with Store(folder / "store", read_only=True) as store:
        return store.find()


def plan(station, folder, *more):
    return station("plan", "G1", *MOTORS, "--level", "round 1", "--level", "round 2", "--repeats", "2",
                   "--out", folder / "G1.toml", *more)


def break_off_at(monkeypatch, words):
    """Press Ctrl-C when the station says `words` the second time."""
    said, show = [], study_gauge.show_notice

    def watch(notice):
        show(notice)
        said.extend([notice.text] if words in notice.text else [])
        if len(said) == 2:
            said.append("")
            raise KeyboardInterrupt

    monkeypatch.setattr(study_gauge, "show_notice", watch)


def test_a_study_from_plan_to_paper(folder, station, command, monkeypatch):
    code, out, _ = plan(station, folder)
    assert (code, "8 runs: 2 motors x 2 (refit) x 2" in out) == (0, True)
    assert plan(station, folder)[0] == ExitCode.WRONG_USE                    # a plan is never written over
    assert station("report", "G1")[0] == ExitCode.WRONG_USE

    break_off_at(monkeypatch, "forward 1000: 1000 r/min reached")
    code, out, _ = station("run", folder / "G1.toml", "--level", "round 1")
    assert (code, "1 run(s) made, 8 of 8 still to be made" in out) == (ExitCode.INTERRUPTED, True), out
    monkeypatch.undo()
    code, out, _ = station("run", folder / "G1.toml", "--level", "round 1")
    assert (code, "4 run(s) made, 4 of 8 still to be made" in out) == (0, True), out
    assert "(leave it as it is)" in out
    code, _, err = station("report", "G1")
    assert (code, "expected 8 runs, got 4 (round 1 4)" in err) == (ExitCode.WRONG_USE, True)
    assert station("run", folder / "G1.toml")[0] == 0
    assert "0 run(s) made, 0 of 8" in station("run", folder / "G1.toml")[1]

    made = records_of(folder)
    assert [record["verdict"] for record in made] == ["PASS", "NO RESULT", *["PASS"] * 8]
    assert {record["purpose"] for record in made} == {"gauge study G1"}
    kept = next(entry for entry in made[0]["files"] if entry["kind"] == "gauge plan")
    assert kept_file(folder / "store", kept["sha256"]) == (folder / "G1.toml").read_bytes()
    assert {record["gauge_run"]["plan_sha256"] for record in made} == {kept["sha256"]}
    with Store(folder / "store", read_only=True) as store:
        assert store.count_yield().motors == 0
        assert store.attempts(MOTORS[0]) == ()

    code, out, err = station("report", "G1", "--json", "--pdf", folder / "G1.pdf")
    assert code == 0, err
    report = json.loads(out)
    check_figures(report, made[2:])
    words = "".join(page.extract_text() for page in PdfReader(folder / "G1.pdf").pages)
    for expected in ("Gauge study G1", *MOTORS, "Only 2 motors", "pooled", "share of variance", "page 1 of"):
        assert expected in words
    out = station("report", "G1")[1]
    assert "Gauge study G1: 2 motors of CP-40 x 2 (refit: round 1, round 2) x 2" in out
    assert "interaction" in out
    out = station("report", "G1", "--key", "winding_resistance.ab")[1]
    assert "motor x operator" in out
    assert station("report", "G1", "--key", "colour")[0] == ExitCode.WRONG_USE
    code, _, err = station("report", "G1", "--without", MOTORS[0])
    assert (code, "2 or more left" in err) == (ExitCode.WRONG_USE, True)

    code, _, err = station("type-one", "CP40-R001")
    assert (code, "expected 10 runs or more" in err) == (ExitCode.WRONG_USE, True)
    assert "no reference file" in station("type-one", "CP40-0001")[2]
    assert command("audit", folder / "store")[0] == 0                       # the records stand like any other


def check_figures(report, records):
    """What the report says of one value follows from the records, and a refit shows where it should."""
    assert (report["motors"], report["levels"], report["repeats"]) == (list(MOTORS), ["round 1", "round 2"], 2)
    values = {value["key"]: value for value in report["values"]}
    found = {}
    for record in records:
        row = next(row for row in record["judged"] if row["name"] == "winding_resistance.ab")
        at = record["gauge_run"]
        found[record["serial"], at["level"], at["repeat"]] = row["value"]
    cube = np.array([[[found[motor, level, repeat] for repeat in (1, 2)] for level in report["levels"]]
                     for motor in MOTORS])
    resistance = values["winding_resistance.ab"]
    within = float(np.sum((cube - cube.mean(axis=2, keepdims=True)) ** 2))
    assert resistance["anova"]["repeatability"]["ss"] == pytest.approx(within)
    assert resistance["anova"]["repeatability"]["dof"] == 4
    assert resistance["mean"] == pytest.approx(cube.mean())
    assert np.ptp(cube.mean(axis=2), axis=1).min() > 1e-6      # no two rounds are fitted alike
    assert values["back_emf_constant_peak.ab@forward 1000"]["word"] == "good"
    assert values["back_emf_constant_peak.ab@forward 1000"]["percent_of_tolerance"]["percent"] < 10


def test_wrong_use(folder, station):
    assert "motors of one type" in station("plan", "G1", "CP40-0001", "VB24-0001", "--out", folder / "G1.toml")[2]
    code, _, err = station("plan", "G1", *MOTORS, "--by", "station", "--out", folder / "G1.toml")
    assert (code, "at least 2" in err) == (ExitCode.WRONG_USE, True)
    code, _, err = station("plan", 'G"1', *MOTORS, "--repeats", "1", "--out", folder / "G1.toml")
    assert code == ExitCode.WRONG_USE
    assert not (folder / "G1.toml").exists()
    assert plan(station, folder)[0] == 0
    assert "no such level" in station("run", folder / "G1.toml", "--level", "night")[2]
    text = (folder / "G1.toml").read_text()
    (folder / "G1.toml").write_text(text.replace("repeats = [1, 2]", "repeats = [1]", 1))
    code, _, err = station("run", folder / "G1.toml")
    assert (code, "no repeat 2 of" in err) == (ExitCode.WRONG_USE, True)
    assert not (folder / "store").exists()
