"""Time counted once where phases overlap, and what no phase accounts for is the station's own."""

import pytest

from station.sequence.timing import BETWEEN, Timing, covered, seconds_of


class Hands:
    """A clock moved by hand."""

    def __init__(self):
        self.at = 100.0

    def __call__(self):
        return self.at


@pytest.fixture
def clock():
    return Hands()


def test_what_no_phase_accounts_for_is_the_stations_own(clock):
    timing = Timing(clock)
    timing.begin("Back-drive")
    clock.at += 1.0
    with timing.phase("capture", "physics"):
        clock.at += 4.0
    clock.at += 0.5
    rows = {row.phase: (row.kind, row.seconds) for row in timing.rows()}
    assert rows == {"capture": ("physics", 4.0), BETWEEN: ("station", 1.5)}


def test_work_meanwhile_takes_nothing_from_the_step_under_way(clock):
    timing = Timing(clock)
    timing.begin("Back-drive")
    with timing.phase("analysis", "meanwhile"), timing.phase("ramp", "physics"):
        clock.at += 2.0
    rows = timing.rows()
    assert seconds_of(rows, "physics") == seconds_of(rows, "meanwhile") == 2.0
    assert seconds_of(rows, "station") == 0.0


def test_overlapping_phases_count_once(clock):
    timing = Timing(clock)
    timing.begin("at rest")
    with timing.phase("resistance", "physics"):
        clock.at += 1.0
        with timing.phase("settling", "physics"):
            clock.at += 1.0
    assert covered(timing.spans) == 2.0
    assert [row.seconds for row in timing.rows() if row.phase == BETWEEN] == [0.0]


def test_each_step_ends_where_the_next_begins_and_nothing_is_lost(clock):
    timing = Timing(clock)
    for step, seconds in (("first", 1.0), ("second", 2.0), ("third", 3.0)):
        timing.begin(step)
        clock.at += seconds
    assert [(row.step, row.seconds) for row in timing.rows()] == [("first", 1.0), ("second", 2.0), ("third", 3.0)]


def test_a_phase_that_fails_is_counted_all_the_same(clock):
    timing = Timing(clock)
    timing.begin("Insulation")

    def dwell():
        with timing.phase("dwell", "physics"):
            clock.at += 1.0
            raise ValueError("lost")

    with pytest.raises(ValueError, match="lost"):
        dwell()
    assert seconds_of(timing.rows(), "physics") == 1.0
