"""station.bench.safe_state: fixed order, no step skipped."""

import pytest

from station.bench.safe_state import reach_safe_state


def test_a_failing_step_stops_no_other():
    done = []

    def fail():
        raise RuntimeError("stuck")
    failures = reach_safe_state([("drive", fail), ("insulation", lambda: done.append("insulation")),
                                 ("supply", fail), ("digitizer", lambda: done.append("digitizer"))])
    assert done == ["insulation", "digitizer"]
    assert failures == ["drive: stuck", "supply: stuck"]


def test_interruption_is_told_only_after_every_step():
    done = []

    def interrupted():
        done.append("drive")
        if done == ["drive"]:
            raise KeyboardInterrupt
    with pytest.raises(KeyboardInterrupt):
        reach_safe_state([("drive", interrupted), ("insulation", lambda: done.append("insulation"))])
    assert done == ["drive", "drive", "insulation"]
