"""A clock that was set is flagged in the record after it, and the order of the log stays that of the tests."""

from datetime import UTC, datetime, timedelta

import pytest
from stored_records import record_of

from station.clock import Clock, stamp
from station.record.clock_watch import SLACK, Reading, clock_flags, reading_of
from station.record.store import Store

HOUR, YEAR = 3600.0, 365 * 86400.0
DURATION, PAUSE = 30.0, 20.0    # s, of a run and between two


class Wall:
    """A computer with a clock that can be set and a counter of seconds that starts anew at every boot."""

    def __init__(self):
        self.utc, self.monotonic, self.boot = datetime(2026, 11, 25, 10, tzinfo=UTC), 1000.0, "boot 1"
        self.clock = Clock(lambda: self.utc, lambda: self.monotonic, self.wait)

    def wait(self, seconds):
        self.utc += timedelta(seconds=seconds)
        self.monotonic += seconds

    def set_by(self, seconds):
        self.utc += timedelta(seconds=seconds)

    def boot_again(self, off=60.0):
        self.utc, self.monotonic, self.boot = self.utc + timedelta(seconds=off), 5.0, self.boot + "0"


@pytest.fixture
def wall():
    return Wall()


@pytest.fixture
def store(tmp_path):
    with Store(tmp_path / "store") as opened:
        yield opened


def run(store, wall, during=0.0):
    """Test a motor; the clock is set by `during` in the middle of it."""
    clock = wall.clock
    started, seconds = clock.utc(), clock.monotonic()
    run_id = store.begin("A", started=stamp(started))
    clock.pause(DURATION / 2)
    wall.set_by(during)
    clock.pause(DURATION / 2)
    record = {**record_of("A"), "started": stamp(started), "ended": stamp(clock.utc()),
              "clock": {"boot_id": wall.boot, "started_monotonic_s": seconds, "ended_monotonic_s": clock.monotonic()}}
    stored = store.finish(run_id, record, [])
    clock.pause(PAUSE)
    return stored


def codes(stored):
    return {flag["code"]: flag["seconds"] for flag in stored["clock"]["flags"]}


def test_a_quiet_clock_is_not_flagged(store, wall):
    assert [codes(run(store, wall)) for _ in range(3)] == [{}, {}, {}]


@pytest.mark.parametrize("by", [HOUR, -HOUR, YEAR, -YEAR, 5.0, -5.0])
def test_a_clock_set_between_two_runs(store, wall, by):
    run(store, wall)
    wall.set_by(by)
    after, later = run(store, wall), run(store, wall)
    backwards = {} if by + DURATION + PAUSE >= 0 else {"utc_backwards": by + DURATION + PAUSE}
    assert codes(after) == {"utc_jump": by, **backwards}
    assert codes(later) == {}
    assert [entry.seq for entry in store.log.entries()] == [0, 1, 2]
    assert [record["run"] for record in store.find()] == [1, 2, 3]
    assert after["log"]["seq"] == 1


@pytest.mark.parametrize("by", [HOUR, -HOUR, YEAR, -YEAR])
def test_a_clock_set_during_a_run(store, wall, by):
    run(store, wall)
    flags = run(store, wall, during=by)["clock"]["flags"]
    assert flags[0]["code"] == ("utc_jump" if by > 0 else "utc_backwards")
    assert "start of this run" in flags[0]["text"]
    assert {flag["code"]: flag["seconds"] for flag in flags}["utc_jump"] == by
    assert codes(run(store, wall)) == {}


def test_a_new_boot_is_no_jump(store, wall):
    run(store, wall)
    wall.boot_again(off=8 * HOUR)
    assert codes(run(store, wall)) == {}


def test_a_clock_set_back_while_the_computer_was_off(store, wall):
    run(store, wall)
    wall.boot_again()
    wall.set_by(-HOUR)
    assert codes(run(store, wall)) == {"utc_backwards": -HOUR + PAUSE + 60.0 + DURATION}


def test_a_count_of_seconds_that_starts_anew_within_a_boot(store, wall):
    run(store, wall)
    wall.monotonic = 5.0
    assert set(codes(run(store, wall))) == {"monotonic_backwards"}


def test_slow_corrections_are_no_jump(store, wall):
    run(store, wall)
    wall.wait(60 * HOUR)
    wall.set_by(60 * HOUR * 500e-6)     # ntpd corrects no faster
    assert codes(run(store, wall)) == {}
    wall.wait(60 * HOUR)
    wall.set_by(60 * HOUR * 1500e-6)
    assert set(codes(run(store, wall))) == {"utc_jump"}


def test_a_step_within_the_slack_is_no_jump(store, wall):
    run(store, wall)
    wall.set_by(0.9 * SLACK)
    assert codes(run(store, wall)) == {}


def test_the_clock_is_watched_across_processes(tmp_path, wall):
    with Store(tmp_path) as store:
        run(store, wall)
    wall.set_by(-HOUR)
    with Store(tmp_path) as store:
        assert set(codes(run(store, wall))) == {"utc_jump", "utc_backwards"}


def test_an_interrupted_run_is_watched_by_utc_alone(store, wall):
    run(store, wall)
    store.begin("B", started=stamp(wall.utc), heading={
        "clock": {"boot_id": wall.boot, "started_monotonic_s": wall.monotonic, "ended_monotonic_s": None}})
    wall.set_by(-HOUR)
    closed, = store.close_unfinished(ended=stamp(wall.utc))
    assert codes(closed) == {"utc_backwards": -HOUR}
    assert closed["clock"]["boot_id"] == wall.boot
    store.begin("C", started=stamp(wall.utc))       # of a station that did not write its clock down
    closed, = store.close_unfinished(ended=stamp(wall.utc))
    assert closed["clock"] == {"flags": []}


def test_a_record_without_its_time_says_nothing():
    assert clock_flags({"started": "", "ended": ""}, Reading(datetime(2026, 1, 1, tzinfo=UTC), "", 1.0)) == []
    assert reading_of({"ended": "", "clock": {"boot_id": "b"}}, "ended") is None
