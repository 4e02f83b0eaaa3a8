"""What refused captures say of the motor, with the resistance at rest beside them."""

import pytest

from station.analysis.refusal_causes import closing_causes, joined_line, refusal_causes
from station.analysis.suspicion import suspicion
from station.measurement import Measurement, Refusal

SOUND = {"ab": 0.5, "bc": 0.5, "ca": 0.5}


def cause(code, text="", ohms=None):
    (found,) = refusal_causes(Refusal(code, text), SOUND if ohms is None else ohms)
    return found


def test_refusals_of_the_capture_name_no_cause():
    for code in ("clipped", "too_short", "channel_missing", "sampled_too_slowly"):
        assert list(refusal_causes(Refusal(code, ""), SOUND)) == []


@pytest.mark.parametrize(("ohms", "code", "words"), [
    ({"bc": 0.5}, "open_phase", "ab, ca either: lead A"), (SOUND, "open_phase", "At rest all lines had resistance"),
    ({}, "open_phase", "no contact"), ({"ab": 0.001, "bc": 0.4, "ca": 0.4}, "shorted_phase", "leads A and B touch"),
])
def test_no_voltage_on_a_lead(ohms, code, words):
    found = cause("open_phase", "Lead a has no contact.", ohms)
    assert found.code == code
    assert words in found.text


def test_leads_at_one_voltage_with_their_resistance_left():
    found = cause("shorted_leads", "Leads a and b are at one voltage.")
    assert found.code == "shorted_phase"
    assert "does not bear that out" in found.text
    assert "touch" in cause("shorted_leads", "", {"ab": 0.001, "bc": 0.4, "ca": 0.4}).text


@pytest.mark.parametrize(("pairs", "code"), [
    ("5.00", "wrong_pole_count"), ("1.00", "wrong_pole_count"), ("3.99", "wrong_pole_count"),
    ("3.96", "coupling_slips"), ("0.50", "coupling_slips"), ("3.61", "coupling_slips"),
])
def test_another_rotor_has_whole_pole_pairs(pairs, code):
    assert cause("speed_disagrees", f"the motor has {pairs} pole pairs, its type 4.").code == code


@pytest.mark.parametrize(("refused", "code"), [
    ("wave_disturbed", "loose_contact"), ("speed_not_stable", "unsteady_capture"),
    ("samples_missing", "unsteady_capture"), ("lines_do_not_close", "channel_wrong"), ("no_emf", "no_back_emf"),
])
def test_other_refusals(refused, code):
    found = cause(refused, "What was seen.")
    assert found.code == code
    assert found.text.startswith("What was seen.")


def test_lines_that_close_too_badly_for_their_limit():
    measured = {"line_sum": Measurement("line_sum", 0.8, "%", 0.01, 100.0)}
    assert list(closing_causes(measured, suspicion(None))) == []
    (found,) = closing_causes(measured, suspicion({"line_sum@forward 1500": "high"}))
    assert found.code == "channel_wrong"
    assert "0.80 %" in found.text


def test_joined_leads_have_next_to_no_resistance():
    assert joined_line({"ab": 0.4, "bc": 0.4, "ca": 0.01}) == "ca"
    assert joined_line(SOUND) is None
    assert joined_line({"ab": 0.01}) is None
