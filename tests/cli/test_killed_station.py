"""`station test` killed at random moments: nothing stored is lost, and the store stands an audit after every kill.

`program_kills.py` kills it a hundred times.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))
from program_kills import kill_stations


def test_the_program_may_be_killed_at_any_moment(tmp_path):
    seen = kill_stations(tmp_path / "line", kills=5, seed=3)
    assert seen.faults == []
    assert seen.killed_at.total() > 2
    assert seen.shown[0] == ("CP40-0001", "PASS")
    assert seen.shown[-1] == ("CP40-0002", "FAIL")
