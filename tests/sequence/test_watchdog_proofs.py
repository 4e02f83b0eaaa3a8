"""station.sequence.watchdog_proofs: which proof lets a bench be used, and that a station asks for one."""

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from station.bench import watchdog_proof
from station.bench.bench_file import load_bench
from station.bench.watchdog_proof import SPEED, WatchdogProof
from station.cli import program
from station.cli.setup import write_folder
from station.clock import system_clock
from station.errors import BenchNotFitError
from station.exit_code import ExitCode
from station.sequence.watchdog_proofs import FILE, keep_proof, require_proof

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
GOOD, BAD = WatchdogProof(5.0, 10.5, SPEED, 0.0, 0.0, ""), WatchdogProof(5.0, 10.5, SPEED, SPEED, SPEED, "")


@pytest.fixture
def folder(tmp_path):
    write_folder(tmp_path / "line", pace=50.0, free_ports=True)
    bench = tmp_path / "line" / "bench.toml"
    bench.write_text(bench.read_text().replace("# watchdog_proof_days = 180.0", "watchdog_proof_days = 180.0"))
    return tmp_path / "line"


@pytest.fixture
def bench(folder):
    return load_bench(folder / "bench.toml")


def at(moment):
    return replace(system_clock(), utc=lambda: moment)


def refusal(store, bench, now=NOON):
    with pytest.raises(BenchNotFitError, match="--prove-watchdog") as caught:
        require_proof(store, bench, at(now))
    return caught.value.got


def test_without_any_proof_the_bench_is_not_fit(tmp_path, bench):
    assert "no proof" in refusal(tmp_path, bench)


@pytest.mark.parametrize("days", [0.0, 180.0, 179.999])
def test_a_good_proof_holds_for_its_days(days, tmp_path, bench):
    keep_proof(tmp_path, bench, GOOD, at(NOON - timedelta(days=days)))
    require_proof(tmp_path, bench, at(NOON))


@pytest.mark.parametrize("days", [180.001, 400.0, -0.001])
def test_a_proof_too_old_or_from_the_future_does_not(days, tmp_path, bench):
    keep_proof(tmp_path, bench, GOOD, at(NOON - timedelta(days=days)))
    assert "a proof of 202" in refusal(tmp_path, bench)


def test_the_last_proof_counts(tmp_path, bench):
    keep_proof(tmp_path, bench, GOOD, at(NOON - timedelta(days=2)))
    keep_proof(tmp_path, bench, BAD, at(NOON - timedelta(days=1)))
    assert "does not stop by itself" in refusal(tmp_path, bench)
    keep_proof(tmp_path, bench, GOOD, at(NOON))
    require_proof(tmp_path, bench, at(NOON))


@pytest.mark.parametrize(("old", "new"), [('serial = "EB-DRV-001"', 'serial = "EB-DRV-002"'),
                                          ("watchdog_s = 5.0", "watchdog_s = 60.0")])
def test_the_proof_of_another_drive_or_another_time_does_not_count(old, new, tmp_path, bench, folder):
    keep_proof(tmp_path, bench, GOOD, at(NOON))
    text = (folder / "bench.toml").read_text()
    assert old in text
    (folder / "bench.toml").write_text(text.replace(old, new))
    assert "no proof of this drive" in refusal(tmp_path, load_bench(folder / "bench.toml"))


@pytest.mark.parametrize("line", ['{"time": "2026-11-2', "[]", "\x00\x00", '{"time": "2026-11-25T12:00:00"}', "null",
                                  '{"time": "2026-11-25T12:00:00Z"}'])
def test_a_line_that_is_no_proof_is_passed_over(line, tmp_path, bench):
    (tmp_path / FILE).write_text(line)
    assert "no proof" in refusal(tmp_path, bench)
    keep_proof(tmp_path, bench, GOOD, at(NOON))     # behind a line that was cut off
    require_proof(tmp_path, bench, at(NOON))


def test_asked_for_only_where_the_bench_file_says_so(tmp_path, bench):
    for days in (0.0, 180.0):
        asked = replace(bench, drive_limits=replace(bench.drive_limits, proof_days=days))
        if days:
            refusal(tmp_path, asked)
        else:
            require_proof(tmp_path, asked, at(NOON))


def test_a_station_tests_only_once_the_watchdog_is_proven(folder, monkeypatch, capfd):
    monkeypatch.setattr(watchdog_proof, "COMING_TO_REST", 0.8)
    bench, station = folder / "bench.toml", str(folder / "station.toml")
    bench.write_text(bench.read_text().replace("watchdog_s = 5.0", "watchdog_s = 1.0"))
    assert program.run(["test", "CP40-0001", "--station", station]) == ExitCode.BENCH_NOT_FIT
    assert "--prove-watchdog" in capfd.readouterr().err
    assert program.run(["bench", "check", "--prove-watchdog", "--station", station]) == ExitCode.PASS
    assert json.loads((folder / "store" / FILE).read_text())["drive_stopped"] is True
    assert program.run(["test", "CP40-0001", "--station", station]) == ExitCode.PASS
    assert "run1" in {path.stem.split("-")[-1] for path in (folder / "store" / "certificates").iterdir()}
