"""`station study type` on stores of drawn motors: what was put in is told, printed, drawn and written."""

import importlib.util
import json
from pathlib import Path

import numpy as np
import pytest
from pypdf import PdfReader

from station.exit_code import ExitCode
from station.record.kept_files import keep_file
from station.record.store import Store
from station.sequence.station_file import load_station

_SPEC = importlib.util.spec_from_file_location(
    "drawn_records", Path(__file__).parents[1] / "study" / "drawn_records.py")
drawn = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(drawn)

LIMITS = drawn.limits_of([drawn.limit_line("hall_placement.b", -4.0, 4.0)])


def fill(folder, count, *, offset=0.0, station="EOL-1", begins="M", seed=2):
    """Put motors of two days into a store; those of the second day drift."""
    rng = np.random.default_rng(seed)
    with Store(load_station(folder / "station.toml").store) as store:
        keep_file(store.folder, LIMITS.text.encode())
        for number in range(count):
            second = number >= count // 2
            value = rng.normal(offset, 0.5) + (4.0 * (number - count // 2) / count if second else 0.0)
            measured = {("hall_placement.b", label): (float(value), 0.05) for label in drawn.LABELS}
            day = f"2026-11-2{5 + second}T{8 + number // 60 % 12:02}:{number % 60:02}:00.000Z"
            drawn.store_record(store, drawn.record_of(f"{begins}{number:03}", measured, LIMITS, started=day,
                                                      station=station))


@pytest.fixture
def line(folder):
    fill(folder, 60)
    return folder


def test_what_was_put_in_is_told(line, command):
    code, out, _ = command("study", "type", "CP-40", "--station", line / "station.toml")
    assert code == ExitCode.PASS
    assert "hall_placement.b@forward 1000" in out
    assert "60 motors, first attempts" in out
    assert "WARNING: fewer than 100 motors" in out
    assert "Lot 2026-11-26 drifts, in 2 characteristic(s)" in out
    assert "CP-40 revision A" in out


def test_report_and_plots_are_written(line, command, tmp_path):
    code, out, _ = command("study", "type", "CP-40", "--station", line / "station.toml", "--out", tmp_path / "made",
                           "--plots", "1", "--json")
    assert code == ExitCode.PASS
    said = json.loads(out)
    assert said == json.loads((tmp_path / "made" / "type.json").read_text("utf-8"))
    assert said["limit_file"]["sha256"] == LIMITS.sha256
    with Store(load_station(line / "station.toml").store, read_only=True) as store:
        assert said["logs"] == [{"origin": store.log.head().origin, "size": 60, "root": store.log.head().root.hex()}]
    names = {path.name for path in (tmp_path / "made").iterdir()}
    assert names == {"type.json", "type.pdf"} | {
        f"{name}.{ending}" for ending in ("svg", "png")
        for name in ("type-indices", "type-correlation", "type-hall-placement.b-forward-1000")}
    assert "drifts" in "".join(page.extract_text() for page in PdfReader(tmp_path / "made" / "type.pdf").pages)


def test_a_further_station_is_told_apart(line, command, tmp_path):
    other = tmp_path / "other"
    command("setup", other)
    fill(other, 60, offset=1.5, station="EOL-2", begins="N", seed=5)
    code, out, _ = command("study", "type", "CP-40", "--station", line / "station.toml", "--also",
                           other / "station.toml")
    assert code == ExitCode.PASS
    assert "120 motors" in out
    assert "2 station(s)" in out
    assert "stations differ" in out


def test_twenty_four_motors_are_too_few(folder, command):
    fill(folder, 24)
    code, _, err = command("study", "type", "CP-40", "--station", folder / "station.toml")
    assert code == ExitCode.WRONG_USE
    assert "too few motors for a study" in err
    assert "at least 25" in err


def test_limits_of_another_type_are_refused(line, command):
    path = line / "other.toml"
    path.write_text(LIMITS.text.replace('name = "CP-40"', 'name = "VB-24"'), encoding="utf-8")
    code, _, err = command("study", "type", "CP-40", "--station", line / "station.toml", "--limits", path)
    assert code == ExitCode.WRONG_USE
    assert "limit file of another motor type" in err


def test_a_folder_that_takes_nothing_is_told(line, command):
    code, _, err = command("study", "type", "CP-40", "--station", line / "station.toml", "--out",
                           line / "station.toml", "--plots", "0")
    assert code == ExitCode.NO_RESULT
    assert "--out" in err


@pytest.mark.parametrize(("words", "motors", "named"), [
    (("--since", "2026-11-26"), 30, "since 2026-11-26"), (("--until", "2026-11-25"), 30, "until 2026-11-25"),
    (("--without", "M003", "--without", "M004"), 58, "without M003, M004"),
    (("--judged-by", LIMITS.sha256[:6]), 60, f"judged by the limit file {LIMITS.sha256[:6]}"),
    (("--every-run", "--trusted"), 60, "every run with a result, failures included, without those in doubt"),
])
def test_other_tests_are_chosen_and_named(line, command, words, motors, named):
    code, out, _ = command("study", "type", "CP-40", "--station", line / "station.toml", "--json", *words)
    assert code == ExitCode.PASS
    said = json.loads(out)
    assert said["motors"] == motors
    assert named in said["about"][0]
    assert said["choice"]["every_run"] == ("--every-run" in words)


@pytest.mark.parametrize("words", [("--since", "monday"), ("--since", "2027-01-01"), ("--judged-by", "00")])
def test_what_no_tests_answer_to_is_told(line, command, words):
    code, _, err = command("study", "type", "CP-40", "--station", line / "station.toml", *words)
    assert code == ExitCode.WRONG_USE
    assert words[-1] in err
