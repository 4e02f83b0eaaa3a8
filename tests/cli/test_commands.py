"""The commands on a real folder: what they print, and the exit code of each way out."""

import json
import re
from datetime import timedelta

import pytest

from station.cli import program
from station.clock import system_clock
from station.exit_code import ExitCode


def test_test_then_records_analyse_and_certificate(folder, command):
    station = folder / "station.toml"
    code, out, _ = command("test", "CP40-0001", "--station", station)
    assert code == ExitCode.PASS
    assert "✓ PASS" in out
    assert "r/min reached" in out

    code, out, _ = command("records", "show", "CP40-0001", "--station", station, "--json")
    record = json.loads(out)
    assert (code, record["verdict"], record["run"]) == (0, "PASS", 1)

    captures = sorted((folder / "store").rglob("*.parquet"))
    assert len(captures) == 4
    code, out, _ = command("analyse", *captures, "--limits", folder / "limits" / "CP-40.toml", "--json")
    objects = [json.loads(line) for line in out.splitlines()]
    assert code == 0
    assert [o["file"] for o in objects] == [str(path) for path in captures]
    stored = {(m["label"], m["name"]): m for m in record["measurements"]}
    by_file = {c["file"].rsplit("/", 1)[-1]: c["label"] for c in record["captures"]}
    for path, found in zip(captures, objects, strict=True):
        assert found["refused"] is None
        placed = found["measurements"]["hall_placement.b"]
        assert set(placed) == {"value", "unit", "u", "dof"}
        # the same waveforms give the same numbers, to the last digit
        assert placed["value"] == stored[by_file[path.name], "hall_placement.b"]["value"]

    code, out, _ = command("records", "find", "--station", station)
    assert code == 0
    assert "1 test(s)" in out
    pdf = folder / "again.pdf"
    assert command("certificate", "CP40-0001", "--station", station, "--out", pdf)[0] == 0
    assert pdf.read_bytes() == (folder / "store" / "certificates" / "CP40-0001-run1.pdf").read_bytes()


def test_a_failing_motor_gives_its_exit_code(folder, command):
    code, out, _ = command("test", "CP40-0002", "--station", folder / "station.toml")
    assert code == ExitCode.FAIL
    assert "✗ FAIL" in out


def test_bench_check_names_every_role(folder, command):
    code, out, _ = command("bench", "check", "--station", folder / "station.toml")
    assert code == 0
    for role in ("drive", "digitizer", "ohmmeter", "supply", "insulation", "thermometer", "guard"):
        assert role in out


def test_an_expired_calibration_stops_before_anything_turns(folder, command):
    bench = folder / "bench.toml"
    text = bench.read_text()
    due = re.search(r"due = (\d{4}-\d\d-\d\d)", text).group(1)
    bench.write_text(re.sub(r"date = [\d-]+, due = [\d-]+", "date = 2019-01-31, due = 2020-01-31", text, count=1))
    assert due in bench.read_text()  # the six others still stand
    code, out, _ = command("bench", "check", "--station", folder / "station.toml")
    assert code == ExitCode.BENCH_NOT_FIT
    assert "2020-01-31" in out
    code, out, err = command("test", "CP40-0001", "--station", folder / "station.toml")
    assert code == ExitCode.BENCH_NOT_FIT
    assert "r/min reached" not in out
    assert "2020-01-31" in err


def test_a_written_extension_keeps_the_line_going_until_its_last_day(folder, command):
    bench, today = folder / "bench.toml", system_clock().today()
    person = 'person = "M. Odera", reason = "laboratory shut"'
    ran_out = f"date = 2019-01-31, due = 2020-01-31, extension = {{ {person}, until = {today} }}"
    bench.write_text(re.sub(r"date = [\d-]+, due = [\d-]+", ran_out, bench.read_text(), count=1))
    code, out, _ = command("bench", "check", "--station", folder / "station.toml")
    assert (code, "by M. Odera" in out) == (0, True)
    assert command("test", "CP40-0001", "--station", folder / "station.toml")[0] == ExitCode.PASS
    record = json.loads(command("records", "show", "CP40-0001", "--station", folder / "station.toml", "--json")[1])
    drive, *others = record["bench"]["instruments"]
    assert {each["status"] for each in others} == {"valid"}
    assert drive["status"] == "extended"
    assert drive["extension"] == {"person": "M. Odera", "reason": "laboratory shut", "until": today.isoformat()}
    assert not any("extension" in other for other in others)

    bench.write_text(bench.read_text().replace(f"until = {today}", f"until = {today - timedelta(days=1)}"))
    code, out, err = command("test", "CP40-0001", "--station", folder / "station.toml")
    assert code == ExitCode.BENCH_NOT_FIT
    assert "its extension by M. Odera" in err
    assert "r/min reached" not in out


@pytest.mark.parametrize("words", [
    ["test", "XX-1"], ["dance"], ["test"], ["limits", "check", "absent.toml"], ["setup", "."],
    ["certificate", "CP40-9999"], ["records", "show", "CP40-9999"],
])
def test_wrong_use(folder, command, words, monkeypatch):
    monkeypatch.chdir(folder)
    code, _, err = command(*words)
    assert code == ExitCode.WRONG_USE
    assert err.strip()


def test_a_serial_of_no_type_is_told_before_any_motor_is_tested(folder, command):
    code, out, err = command("test", "CP40-0001", "XX-1", "--station", folder / "station.toml")
    assert (code, out) == (ExitCode.WRONG_USE, "")
    assert "'XX-1'" in err
    assert not (folder / "store").exists()


def test_a_folder_that_cannot_be_made_is_wrong_use(folder, command):
    code, _, err = command("setup", folder / "bench.toml" / "line")
    assert code == ExitCode.WRONG_USE
    assert "folder cannot be made" in err


def test_an_error_that_nobody_foresaw_is_no_verdict(monkeypatch, capfd):
    def broken(**_):
        raise ZeroDivisionError("unforeseen")

    monkeypatch.setattr(program, "app", broken)
    with pytest.raises(SystemExit) as left:
        program.main()
    assert left.value.code == ExitCode.NO_RESULT
    assert "ZeroDivisionError: unforeseen" in capfd.readouterr().err


def test_limits_check_lists_every_fault(folder, command):
    path = folder / "limits" / "CP-40.toml"
    assert command("limits", "check", path)[0] == 0
    path.write_text(path.read_text().replace("pole_pairs = 4", 'pole_pairs = "4"').replace(
        "[decision]", "[decision]\nrulle = 1", 1))
    code, _, err = command("limits", "check", path)
    assert code == ExitCode.WRONG_USE
    assert "pole_pairs" in err
    assert "rulle" in err
