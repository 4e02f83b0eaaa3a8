"""station.sequence.given_run: the steps of a sequence carried out on what was shown, and the record of that."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from station.clock import Moment
from station.judgement.limit_file import parse_limits
from station.record.record_schema import check_record
from station.record.store import Store
from station.sequence.capturing import peak_range
from station.sequence.given_run import conclude_given
from station.sequence.record_of_run import Heading
from station.sequence_file import parse_sequence
from station.simulated.instant_bench import InstantBench, Turn
from station.simulated.lot import demo_lot_path, load_lot
from station.simulated.motor import build_motor
from station.toml_file import read_toml
from station.units import RPM

ROOT = Path(__file__).parents[2]
SEQUENCE = parse_sequence(read_toml(ROOT / "sequences" / "one-speed.toml"))
LIMITS = parse_limits(read_toml(ROOT / "limits" / "CP-40.toml"))
SERIAL = "CP40-0001"
HEADING = Heading("L2-EOL1", "Varnholt Works", "nobody", "bench.toml", "51" * 32, simulated=True, pace=1.0,
                  instruments=(), generated="drawn for a test")
BEGAN = Moment(datetime(2026, 11, 25, 6, 0, 0, tzinfo=UTC), 100.0)


@pytest.fixture(scope="module")
def shown():
    """What is shown of a good motor."""
    bench = InstantBench(np.random.default_rng(11))
    motor = build_motor(load_lot(demo_lot_path()), SERIAL, 1, 23.0)
    turns = [Turn(label, sign * 1500 * RPM, peak_range(LIMITS, 1500.0), 2e-5, 20_000)
             for label, sign in zip(SEQUENCE.labels(), (1, -1), strict=True)]
    return bench.show(motor, turns, bench.digitizer_errors(), supply_volts=5.0, ambient_c=23.0)


@pytest.fixture
def store(tmp_path):
    with Store(tmp_path / "store") as opened:
        yield opened


def test_a_good_motor_passes_and_its_record_is_whole(shown, store):
    run = conclude_given(SERIAL, shown, SEQUENCE, LIMITS, "generated")
    record = run.store(store, HEADING, BEGAN, 20.0)
    assert record["verdict"] == "PASS", record["reason"]
    assert record["bench"]["generated"] == "drawn for a test"
    assert (record["started"], record["ended"]) == ("2026-11-25T06:00:00.000Z", "2026-11-25T06:00:20.000Z")
    assert [step["outcome"] for step in record["steps"]] == ["done"] * 4
    assert plain(row["name"] for row in record["judged"]) == plain(limit.name for limit in LIMITS.limits)
    check_record(next(iter(store.find())))
    assert [capture.label for capture in store.captures(record)] == SEQUENCE.labels()


def plain(names):
    return {name.split(".")[0] for name in names}


def test_a_motor_that_leaks_is_not_turned(shown, store):
    run = conclude_given(SERIAL, replace(shown, insulation=5e6), SEQUENCE, LIMITS)
    record = run.store(store, HEADING, BEGAN, 20.0)
    assert record["verdict"] == "FAIL"
    assert not record["captures"]
    insulation, turned = record["steps"][-2:]
    assert insulation["outcome"] == "failed"
    assert "insulation_resistance" in insulation["note"]
    assert turned["outcome"] not in ("done", "failed")


def test_a_value_beyond_its_limit_fails_the_motor(shown):
    run = conclude_given(SERIAL, replace(shown, torques=(0.2, 0.2)), SEQUENCE, LIMITS)
    judgement = run.concluded.conclusion.judgement
    assert str(judgement.verdict) == "FAIL"
    assert {row.name for row in judgement.rows if row.result == "FAIL"} == {"drag_torque"}


def test_a_dead_line_never_passes(shown):
    captures = tuple(replace(one, codes=one.codes | {"v_ab": np.zeros_like(one.codes["v_ab"])})
                     for one in shown.captures)
    run = conclude_given(SERIAL, replace(shown, captures=captures), SEQUENCE, LIMITS)
    assert str(run.concluded.conclusion.judgement.verdict) != "PASS"
