"""`station reference` on the embedded bench: what a check lets through, what it stops, and what it casts doubt on."""

import json

import pytest

from station.cli.setup import write_folder
from station.exit_code import ExitCode
from station.record.store import Store
from station.simulated import front_end


@pytest.fixture
def line(tmp_path):
    """A starter folder that asks for reference checks."""
    write_folder(tmp_path / "line", pace=20.0, free_ports=True, reference_checks=True)
    return tmp_path / "line"


@pytest.fixture
def station(line, command):
    """Run `station WORDS --station FILE` in that folder."""
    return lambda *words: command(*words, "--station", line / "station.toml")


def edit(path, old, new):
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))


def check(station, motor_type="CP-40", done=""):
    return station("reference", "check", "--type", motor_type, "--done", done)


def stored(line):
    with Store(line / "store", read_only=True) as store:
        return store.find(), store.reference_checks()


def test_a_good_check_opens_the_line_and_a_drifted_bench_shuts_it(line, station, monkeypatch):
    code, _, err = station("test", "CP40-0001")
    assert code == ExitCode.BENCH_NOT_FIT
    assert "station reference check --type CP-40" in err
    assert stored(line) == ([], [])                                     # nothing moved, nothing was recorded

    code, out, _ = check(station)
    assert (code, "✓ GOOD  reference check 1 of CP-40" in out) == (0, True), out
    assert station("test", "CP40-0001")[0] == ExitCode.PASS
    assert "VB-24 was ever made" in station("test", "VB24-0001")[2]
    record = json.loads(station("records", "show", "CP40-0001", "--json")[1])
    assert record["reference_check"]["check"] == 1
    assert station("records", "suspects")[1].rstrip().endswith("0 test(s)")

    monkeypatch.setattr(front_end, "COMMON_GAIN", 10 * front_end.COMMON_GAIN)    # within 0.4 %, no more within 0.04 %
    code, out, _ = check(station)
    assert code == ExitCode.BENCH_NOT_FIT
    assert "✗ BAD  reference check 2" in out
    assert "back_emf_constant" in out
    assert "1 test(s) since the last good check are SUSPECT" in out
    code, _, err = station("test", "CP40-0003")
    assert (code, "was BAD" in err) == (ExitCode.BENCH_NOT_FIT, True)

    assert "CP40-0001" in station("records", "suspects")[1]
    assert "✓ PASS SUSPECT" in station("records", "find", "--serial", "CP40-0001")[1]
    assert "SUSPECT: reference check 2 failed" in station("records", "show", "CP40-0001")[1]
    pdf = line / "again.pdf"
    assert "SUSPECT" in station("certificate", "CP40-0001", "--out", pdf)[2]
    assert json.loads(station("records", "show", "CP40-0001", "--json")[1]) == record    # the record stays as it is

    assert station("reference", "history")[1].count("CP40-R001, CP40-R002") == 2
    series = json.loads(station("reference", "history", "--serial", "CP40-R001", "--characteristic",
                                "back_emf_constant_fundamental.ab", "--json")[1])
    assert [s["label"] for s in series] == ["forward 1000", "forward 2000", "reverse 1000", "reverse 2000"]
    for line_ in series:
        before, after = line_["points"]
        assert (before["result"], after["result"]) == ("GOOD", "BAD")
        assert abs(after["value"] / before["value"] - 1) > 1e-3
        assert before["bench_sha256"] == record["bench"]["sha256"]
    assert "CP40-R001 winding_resistance.ab, ohm" in station(
        "reference", "history", "--characteristic", "winding_resistance.ab")[1]
    assert station("reference", "history", "--characteristic", "colour")[0] == ExitCode.WRONG_USE

    monkeypatch.undo()
    monkeypatch.setenv("COLUMNS", "200")
    code, _, err = check(station)
    assert (code, "reference check 2 was BAD" in err) == (ExitCode.WRONG_USE, True)
    assert check(station, done="digitizer exchanged")[0] == 0           # mended: the line opens, the doubt stays
    assert "digitizer exchanged" in station("reference", "history")[1]
    assert "CP40-0001" in station("records", "suspects")[1]


def test_a_known_bad_motor_that_passes_or_fails_otherwise_fails_the_check(line, station):
    mark = 'serial = "CP40-R002"\ntype = "CP-40"\n'
    defect = 'defects = [{ kind = "hall_displaced", sensor = "c", deg = 9.0 }]\n'
    edit(line / "lot.toml", mark + defect, mark)
    code, out, _ = check(station)
    assert code == ExitCode.BENCH_NOT_FIT
    assert "CP40-R002: verdict PASS for a known-bad motor" in out
    edit(line / "lot.toml", mark, mark + defect.replace('"c"', '"a"'))
    code, out, _ = check(station, done="looked for the right motor")
    assert code == ExitCode.BENCH_NOT_FIT
    assert "hall_placement.c did not fail" in out
    assert [made["result"] for made in stored(line)[1]] == ["BAD", "BAD"]


def test_a_reference_motor_with_weaker_magnets_fails_the_check(line, station):
    mark = 'serial = "VB24-R001"\ntype = "VB-24"\n'
    edit(line / "lot.toml", mark, mark + 'defects = [{ kind = "weak_magnets", share = 0.003 }]\n')
    code, out, _ = check(station, "VB-24")
    assert code == ExitCode.BENCH_NOT_FIT
    assert "VB24-R001: back_emf_constant" in out
    assert stored(line)[1][0]["motors"][0]["verdict"] == "PASS"          # well within the limits of the type


def test_changeover_crash_and_change_make_it_due(line, station):
    assert station("reference", "check")[0] == 0                        # every type of the folder
    assert [made["motor_type"] for made in stored(line)[1]] == ["CP-40", "CP-60D", "VB-24"]
    assert station("test", "CP40-0001")[0] == ExitCode.PASS
    code, _, err = station("test", "VB24-0001")
    assert (code, "type CP-40 was tested since" in err) == (ExitCode.BENCH_NOT_FIT, True)

    with Store(line / "store") as store:                                # a process that died in a test
        store.begin("CP40-0003", started="2026-11-25T10:00:00.000Z", heading={"motor_type": {"name": "CP-40"}})
    code, _, err = station("test", "CP40-0004")
    assert (code, "CP40-0003 was interrupted" in err) == (ExitCode.BENCH_NOT_FIT, True)

    edit(line / "station.toml", "required = true", "required = false")
    assert station("test", "CP40-0001")[0] == ExitCode.PASS
    edit(line / "station.toml", "required = false", "required = true")
    edit(line / "bench.toml", "stop_deadline_s = 30.0", "stop_deadline_s = 31.0")
    assert "bench file was changed" in station("test", "CP40-0001")[2]


def test_wrong_use(line, station):
    edit(line / "sequences" / "standard.toml", "[1000.0, 2000.0]", "[1000.0, 1900.0]")
    code, _, err = check(station)
    assert (code, "back_emf_constant_peak.ab@forward 2000" in err) == (ExitCode.WRONG_USE, True)
    assert stored(line) == ([], [])                     # a sequence that was changed is no broken bench
    assert check(station, "CP-41")[0] == ExitCode.WRONG_USE
    (line / "references" / "CP40-R002.toml").unlink()
    code, _, err = check(station)
    assert (code, "CP-40, bad" in err) == (ExitCode.WRONG_USE, True)
    edit(line / "references" / "CP40-R001.toml", 'motor_type = "CP-40"', 'motor_type = "VB-24"')
    assert "of another type" in check(station, "VB-24")[2]
    edit(line / "references" / "CP40-R001.toml", "format = 1", "format = 2")
    assert "format" in check(station)[2]
    edit(line / "station.toml", 'time_zone = "UTC"', 'time_zone = "Hall/2"')
    code, _, err = check(station)
    assert (code, "reference.time_zone" in err) == (ExitCode.WRONG_USE, True)
