"""Every fault that the simulated bench can have, in the middle of a run: the verdict is right or there is none."""

import random

import pytest
from broken_runs import BAD, GOOD, Case, faulty_station, run_case, run_then_next
from soak import draw, messages_of, table

from station.simulated.fault_plan import FAULTS

# Who is hit, for how many seconds where that counts, and what the reason must name; None: the verdict must come out.
CASES = {
    "hang": ("supply", 3.0, "supply"), "wedge": ("thermometer", 3.0, "thermometer"),
    "shut_out": ("ohmmeter", 3.0, "ohmmeter"), "refuse": ("insulation", 3.0, "insulation"),
    "one_client": ("drive", 3.0, "drive"),
    "trickle": ("digitizer", 0.8, "digitizer"), "late": ("ohmmeter", 0.01, None),
    "drop_answer": ("insulation", 1.0, "insulation"), "half_close": ("digitizer", 1.0, "digitizer"),
    "half_late": ("digitizer", 1.0, "digitizer"), "stray_before": ("supply", 1.0, "supply"),
    "stray_after": ("ohmmeter", 1.0, "ohmmeter"), "stray_line": ("thermometer", 1.0, "thermometer"),
    "one_behind": ("ohmmeter", 1.0, "ohmmeter"), "return_line": ("supply", 1.0, None),
    "not_a_number": ("ohmmeter", 1.0, "could not measure"), "over_range_text": ("insulation", 1.0, "no number"),
    "stars": ("thermometer", 1.0, "no number"), "empty": ("drive", 1.0, "drive"),
    "restart": ("ohmmeter", 1.0, "ohmmeter"), "power_cut": ("insulation", 1.0, "insulation"),
    "other_serial": ("thermometer", 3.0, "thermometer"), "error_left": ("insulation", 1.0, "left by a fault"),
    "guard_opened": ("drive", 1.0, "guard opened"), "emergency_stop": ("drive", 1.0, "emergency stop"),
    "supply_tripped": ("digitizer", 1.0, "sensor supply"), "clipped": ("drive", 1.0, None),
    "no_trigger": ("drive", 1.0, "the capture took too long"), "no_ramp": ("digitizer", 5.0, None),
    "runs_on": ("digitizer", 5.0, "Press the emergency stop"),
}
LATE_IN_RUN = {"clipped": 0.0, "no_trigger": 0.0}   # share of the role's messages; else half of them


@pytest.fixture(scope="module")
def station(tmp_path_factory):
    """A station with a motor tested once, and how many messages that took of each role."""
    with faulty_station(tmp_path_factory.mktemp("faults") / "line") as (place, side):
        run_case(place, side, Case(GOOD))
        result = run_case(place, side, Case(GOOD))
        assert result.verdict == "PASS", result.reason
        yield place, side, messages_of(place)


def test_every_fault_has_a_case():
    assert CASES.keys() == FAULTS.keys()


@pytest.mark.parametrize("kind", CASES)
def test_one_fault_in_the_middle_of_a_run(kind, station):
    place, side, messages = station
    role, seconds, word = CASES[kind]
    after = int(LATE_IN_RUN.get(kind, 0.5) * messages[role])
    good = len(kind) % 2 == 0       # a good motor in one half of the cases, a bad one in the other
    case = Case(GOOD if good else BAD[0], ((role, kind, after, seconds, 1),))
    result, following = run_then_next(place, side, case, Case(BAD[0] if good else GOOD))
    assert result.struck == (kind,)
    assert result.evil == ""
    if word is None:
        assert result.verdict == ("PASS" if good else "FAIL"), result.reason
    else:
        assert result.verdict == "NO RESULT"
        assert word in result.reason
        assert result.reason.count(".") >= 2    # what happened, and what to do
    assert following.verdict == ("FAIL" if good else "PASS"), following.reason


def test_small_soak_has_no_wrong_verdict_no_unsafe_end_and_no_lost_record(station):
    place, side, messages = station
    drawn = random.Random(11)
    results = [run_case(place, side, draw(drawn, messages)) for _ in range(12)]
    assert [result for result in results if result.evil] == []
    assert sum(len(result.struck) for result in results) >= 6
    assert len(table(results)) > 3


