"""Faults of the wire in the middle of a run over HiSLIP, and of a Modbus drive: a right verdict or none."""

import random

import pytest
from broken_runs import BAD, GOOD, Case, faulty_station, run_case, run_then_next
from soak import draw, messages_of

from station.simulated.fault_plan import FAULTS, FRAMES, INSIDE, ON_THE_WIRE

# For how many seconds, where that counts, and what the reason must name; None: the verdict must come out. A message
# of HiSLIP has an end, so that an empty line at its beginning puts nobody out of step.
OVER_HISLIP = {
    "hang": ("supply", 3.0, "supply"), "wedge": ("thermometer", 3.0, "thermometer"),
    "shut_out": ("ohmmeter", 3.0, "ohmmeter"), "refuse": ("insulation", 3.0, "insulation"),
    "one_client": ("drive", 3.0, "drive"), "trickle": ("digitizer", 0.8, "digitizer"),
    "late": ("ohmmeter", 0.01, None), "drop_answer": ("insulation", 1.0, "insulation"),
    "half_close": ("digitizer", 1.0, "digitizer"), "half_late": ("digitizer", 1.0, "digitizer"),
    "stray_before": ("supply", 1.0, "supply"), "stray_after": ("ohmmeter", 1.0, "ohmmeter"),
    "stray_line": ("thermometer", 1.0, None), "one_behind": ("ohmmeter", 1.0, "ohmmeter"),
    "return_line": ("supply", 1.0, None), "not_a_number": ("ohmmeter", 1.0, "could not measure"),
    "over_range_text": ("insulation", 1.0, "no number"), "stars": ("thermometer", 1.0, "no number"),
    "empty": ("drive", 1.0, "drive"), "restart": ("ohmmeter", 1.0, "ohmmeter"),
    "power_cut": ("insulation", 1.0, "insulation"), "other_serial": ("thermometer", 3.0, "thermometer"),
    "error_left": ("insulation", 1.0, "left by a fault"),
}
OVER_MODBUS = {
    "hang": (3.0, "drive"), "wedge": (3.0, "drive"), "shut_out": (3.0, "drive"), "refuse": (3.0, "drive"),
    "one_client": (3.0, "drive"), "trickle": (0.3, "drive"), "late": (0.01, None), "drop_answer": (1.0, "drive"),
    "half_close": (1.0, "drive"), "half_late": (1.0, "drive"), "stray_before": (1.0, "drive"),
    "stray_after": (1.0, "drive"), "one_behind": (1.0, "drive"), "exception_code": (1.0, "device failure"),
    "other_transaction": (1.0, "drive"), "restart": (1.0, "may have restarted"), "power_cut": (1.0, "drive"),
    "other_serial": (3.0, "drive"), "guard_opened": (1.0, "guard opened"), "emergency_stop": (1.0, "emergency stop"),
    "supply_tripped": (1.0, "sensor supply"), "clipped": (1.0, None), "no_trigger": (1.0, "the capture took too long"),
    "no_ramp": (5.0, None), "runs_on": (5.0, "Press the emergency stop"),
}
# Unread bytes before an exchange are thrown away with their connection, and nothing is lost; a drive's exchange has
# several frames, and between two of them the same byte breaks it. Which it strikes hangs on how often it was polled.
EITHER = {("drive", "stray_after")}


def test_every_fault_of_each_line_has_a_case():
    assert OVER_HISLIP.keys() == (ON_THE_WIRE | INSIDE).keys() <= FAULTS.keys()
    assert OVER_MODBUS.keys() == FRAMES.kinds.keys()


@pytest.fixture(scope="module")
def hislip(tmp_path_factory):
    yield from _station(tmp_path_factory, "hislip")


@pytest.fixture(scope="module")
def modbus(tmp_path_factory):
    yield from _station(tmp_path_factory, "modbus")


def _station(tmp_path_factory, over):
    """A station with a motor tested once, and how many messages that took of each role."""
    with faulty_station(tmp_path_factory.mktemp(over) / "line", over=over) as (place, side):
        run_case(place, side, Case(GOOD))
        result = run_case(place, side, Case(GOOD))
        assert result.verdict == "PASS", result.reason
        yield place, side, messages_of(place)


def hold(station, role, kind, seconds, word):
    """Let the fault strike in the middle of a run: a right verdict or none, a clear reason, the next motor as ever."""
    place, side, messages = station
    good = len(kind) % 2 == 0       # a good motor in one half of the cases, a bad one in the other
    case = Case(GOOD if good else BAD[0], ((role, kind, messages[role] // 2, seconds, 1),))
    result, following = run_then_next(place, side, case, Case(BAD[0] if good else GOOD))
    assert result.struck == (kind,)
    assert result.evil == ""
    if word is None or ((role, kind) in EITHER and result.verdict != "NO RESULT"):
        assert result.verdict == ("PASS" if good else "FAIL"), result.reason
    else:
        assert result.verdict == "NO RESULT"
        assert word in result.reason
        assert result.reason.count(".") >= 2    # what happened, and what to do
    assert following.verdict == ("FAIL" if good else "PASS"), following.reason


@pytest.mark.parametrize("kind", OVER_HISLIP)
def test_one_fault_over_hislip(kind, hislip):
    role, seconds, word = OVER_HISLIP[kind]
    hold(hislip, role, kind, seconds, word)


@pytest.mark.parametrize("kind", OVER_MODBUS)
def test_one_fault_of_a_modbus_drive(kind, modbus):
    seconds, word = OVER_MODBUS[kind]
    hold(modbus, "drive", kind, seconds, word)


@pytest.mark.parametrize("over", ["hislip", "modbus"])
def test_small_soak_over_other_lines(over, request):
    place, side, messages = request.getfixturevalue(over)
    drawn = random.Random(12)
    results = [run_case(place, side, draw(drawn, messages, over)) for _ in range(8)]
    assert [result for result in results if result.evil] == []
    assert sum(len(result.struck) for result in results) >= 4
