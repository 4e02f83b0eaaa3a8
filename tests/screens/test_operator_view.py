"""What the operator's page says of each state, and what it must never say."""

import re
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import station.analysis
from station.bench.roles import GuardState
from station.characteristic import CHARACTERISTICS
from station.errors import StationError, StoppedError
from station.measurement import Measurement
from station.screens.line_state import LineState, Order, after_notice, asked_for, at_rest, checked, ended, refused
from station.screens.operator_view import SIGNS, floor_to_two_digits, key_of, telling_digits, view_of
from station.screens.plain_names import capture_name, plain_name
from station.screens.refusal import Refusal, RefusedError, refusal_of
from station.screens.signs import SHAPES
from station.screens.standing import ReferenceStanding, Standing
from station.screens.words import DEFAULT, languages
from station.sequence.progress import Notice

OPEN, CLOSED = GuardState(False, True), GuardState(True, True)
ORDER = Order("CP40-0001", "CP-40", "A", "0" * 64, "standard A", ("Winding", "Back-drive"), 1, 2,
              seconds={"Winding": 2.0, "Back-drive": 6.0})


def record(verdict, **more):
    return {"verdict": verdict, "serial": "CP40-0001", "run": 1, "reason": "noise on a channel", "findings": [],
            "judged": [], **more}


def row(name="thd.ab", value=7.0, lower=None, upper=6.0, margin=-1.0, unit="%", label="forward 1000"):
    return {"name": name, "value": value, "lower": lower, "upper": upper, "margin": margin, "unit": unit,
            "label": label, "result": "FAIL"}


def test_each_state_has_a_shape_and_shapes_of_verdicts_differ():
    assert set(SIGNS.values()) <= SHAPES.keys()
    assert len({SIGNS[key] for key in ("pass", "fail", "no-result", "stopped", "refused", "locked")}) == 6


@pytest.mark.parametrize("code", languages())
def test_every_finding_and_characteristic_has_plain_words(code):
    folder = Path(station.analysis.__file__).parent
    codes = {found for path in folder.glob("*.py")
             for found in re.findall(r'Finding\(\s*"([a-z_]+)"', path.read_text(encoding="utf-8"))}
    assert len(codes) > 30
    words = languages()[code]
    assert {f"finding.{found}" for found in codes} <= words.texts.keys()
    for characteristic in CHARACTERISTICS:
        for name in characteristic.full_names():
            assert "_" not in plain_name(name, words), name
    assert plain_name("made_up.ab", words) == "made_up.ab"
    assert capture_name("made up", words) == "made up"


@pytest.mark.parametrize("verdict", ["PASS", "FAIL", "NO RESULT"])
def test_a_verdict_is_gone_once_another_motor_can_lie_there(verdict):
    told = ended(replace(asked_for(LineState(), ORDER, "K. Amsel"), guard=CLOSED), record(verdict))
    looked = at_rest(told, CLOSED, Standing())
    assert looked.phase == "ended"                                      # it never vanishes by time alone
    opened = at_rest(looked, OPEN, Standing())
    assert (key_of(opened), opened.record) == ("ready", told.record)    # said small, with its serial
    assert at_rest(opened, CLOSED, Standing()).record is None
    assert asked_for(told, replace(ORDER, serial="CP40-0002"), "").record is None
    assert refused(told, RefusedError("type", "XX-1", known="CP40-")).record is None
    again = refused(told, RefusedError("passed", "CP40-0001", run="1", at="now"))
    assert (again.record, again.hint.where) == (told.record, "CP40-0001")


@pytest.mark.parametrize("before", [OPEN, CLOSED])      # at the last look; no look saw it since
def test_a_guard_opened_at_once_after_the_verdict_is_seen(before):
    armed = replace(asked_for(LineState(), ORDER, ""), guard=before)
    told = ended(armed, record("PASS"))
    assert at_rest(told, OPEN, Standing()).phase == "idle"
    stopped = ended(armed, record("NO RESULT", cause={"code": "guard_opened", "at": "guard"}))
    still_open = at_rest(stopped, OPEN, Standing())
    assert still_open.phase == "ended"      # what stopped it is read with the guard open
    assert at_rest(at_rest(still_open, CLOSED, Standing()), OPEN, Standing()).phase == "idle"


def test_nothing_scanned_displaces_a_motor_in_work():
    busy = asked_for(LineState(), ORDER, "K. Amsel")
    told = refused(busy, RefusedError("busy", "CP40-0002", other="CP40-0001"))
    assert replace(told, hint=None) == busy
    assert "CP40-0001" in view_of(told, 0.0, DEFAULT).hint
    assert after_notice(told, Notice("step", "Winding", "Winding"), 1.0).hint is None


@pytest.mark.parametrize(("standing", "by_fails", "key"), [
    (Standing(), False, "ready"), (Standing(), True, "locked"),
    (Standing(locked=Refusal("room", (("expected", "2 MB"), ("got", "1 MB")))), False, "locked"),
    (Standing(references=(ReferenceStanding("A", ("R1",), due="never"),)), False, "reference"),
    (Standing(references=(ReferenceStanding("A", ("R1",), due="never"), ReferenceStanding("B", ("R2",)))), False,
     "ready")])
def test_what_is_asked_for_while_nothing_is_tested(standing, by_fails, key):
    assert key_of(replace(LineState(), standing=standing), by_fails=by_fails) == key


def test_failures_in_a_row_are_counted_and_forgotten():
    state = LineState()
    for verdict, fails in (("FAIL", 1), ("NO RESULT", 1), ("FAIL", 2), ("PASS", 0), ("FAIL", 1)):
        state = asked_for(ended(state, record(verdict)), ORDER, "")
        assert state.fails == fails
    assert checked(state, {"result": "BAD", "reasons": []}).fails == 1
    assert checked(state, {"result": "GOOD", "reasons": []}).fails == 0


def test_the_worst_characteristics_each_once_and_the_cause_with_what_to_do():
    judged = [row(), row("thd.bc", 9.0, margin=-3.0), row("hall_placement.b", 9.1, -4.0, 4.0, -5.0, "deg"),
              row("winding_resistance.ab", 0.4, 0.5, 0.7, -0.2, "ohm", ""),
              row("hall_high.a", 3.0, 4.0, None, -0.1, "V")]
    told = ended(replace(LineState(), order=ORDER), record("FAIL", judged=judged, findings=[
        {"code": "hall_sensor_displaced", "text": "long"}]))
    view = view_of(told, 0.0, languages()["de"])
    assert view.word == "SCHLECHT"
    assert view.worst == ("Platz des Hall-Sensors B, vorwärts 1000 r/min: 9,1\u00a0°, höchstens 4\u00a0°",
                          "Verzerrung der Gegen-EMK bc, vorwärts 1000 r/min: 9\u00a0%, höchstens 6\u00a0%",
                          "Wicklungswiderstand ab: 0,4\u00a0Ω, mindestens 0,5\u00a0Ω")
    assert view.details[0] == "Ein Hall-Sensor sitzt am falschen Platz."
    unknown = replace(told, record=record("FAIL", findings=[{"code": "made_up", "text": "said in full"}]))
    assert "said in full" in view_of(unknown, 0.0, DEFAULT).details


def test_a_value_inside_its_limit_but_too_near_is_said_to_be_so():
    told = ended(replace(LineState(), order=ORDER), record("FAIL", judged=[row(value=5.99)]))
    assert view_of(told, 0.0, DEFAULT).worst[0].endswith("nearer to its limit than its uncertainty allows")


@given(st.floats(1e-6, 1e6), st.floats(1e-12, 1.0))
def test_no_rounding_makes_a_failing_value_look_like_its_limit(bound, share):
    value = bound * (1 + share)
    if value > bound:
        digits = telling_digits(value, bound)
        assert float(f"{value:.{digits}g}") > float(f"{bound:.{digits}g}")


@given(st.floats(10.0, 1e6))
def test_a_caution_never_names_too_high_a_speed(speed):
    assert 0.9 * speed < floor_to_two_digits(speed) <= speed


def test_a_value_has_no_more_digits_than_it_takes():
    assert (telling_digits(7.0, 6.0), telling_digits(9.5999, 9.6), telling_digits(9.59999, 9.6)) == (4, 5, 6)


def test_steps_values_and_time_left_as_they_come():
    state = after_notice(asked_for(LineState(), ORDER, ""), Notice("step", "Winding", "Winding"), 100.0)
    assert view_of(state, 100.5, DEFAULT).seconds_left == pytest.approx(7.5)
    assert view_of(state, 200.0, DEFAULT).seconds_left == 0.0
    found = Measurement("speed", 1000.0, 0.1, 50.0, "rpm")
    state = after_notice(state, Notice("value", "speed", measurement=found), 101.0)
    assert state.values[0].value == 1000.0
    assert view_of(state, 101.0, DEFAULT).values == ()      # it has no limits
    assert view_of(replace(state, order=replace(ORDER, seconds={})), 101.0, DEFAULT).seconds_left is None
    assert "Step 1 of 2: Winding" in view_of(state, 101.0, DEFAULT).details


def test_while_the_shaft_coasts_hands_stay_off():
    state = after_notice(asked_for(LineState(), ORDER, ""), Notice("step", "Back-drive", "Back-drive"), 100.0)
    coasting = after_notice(state, Notice("rest", "the shaft comes to rest"), 101.0)
    view = view_of(coasting, 101.0, DEFAULT)
    assert (view.key, view.word, view.seconds_left) == ("coasting", "WAIT", None)
    assert "The shaft will turn: hands, hair and sleeves off" in view.cautions
    assert coasting.is_busy
    assert key_of(after_notice(coasting, Notice("step", "Winding", "Winding"), 102.0)) == "testing"
    assert key_of(after_notice(coasting, Notice("motor", "CP40-R002", "CP40-R002"), 102.0)) == "wait"
    for told in (ended(coasting, record("PASS")), ended(coasting, record("NO RESULT")),
                 checked(coasting, {"result": "GOOD", "reasons": []})):
        assert not told.is_coasting


def test_what_stopped_a_test_and_what_hid_its_result():
    stopped = ended(LineState(order=ORDER), record("NO RESULT", cause={"code": "guard_opened", "at": "guard"}))
    assert key_of(stopped) == "stopped"
    hidden = ended(LineState(order=ORDER), record("NO RESULT", cause={"code": "no_reply", "at": "ohmmeter"}))
    view = view_of(hidden, 0.0, languages()["de"])
    assert view.key == "no-result"
    assert view.details == ("Keine Antwort: Ohmmeter. Noch einmal prüfen. Geschieht es wieder, Technik rufen.",
                            "Bezug für die Technik: CP40-0001 / 1")
    assert view.english == "noise on a channel"
    odd = record("NO RESULT", cause={"code": "made_up", "at": ""})
    unknown = view_of(ended(LineState(order=ORDER), odd), 0.0, DEFAULT)
    assert unknown.details == ("Reference for the engineer: CP40-0001 / 1",)
    assert unknown.english == "noise on a channel"
    given_up = refused(LineState(), StoppedError("given up", where="", expected="", got="", remedy="Scan."))
    assert key_of(given_up) == "stopped"


def test_an_error_that_has_no_words_of_its_own_is_told_as_it_is():
    error = StationError("the printer burns", where="hall", expected="none", got="fire", remedy="Leave the hall.")
    refusal = refusal_of(error)
    assert refusal.what(languages()["pl"]) == "the printer burns (hall)."
    assert refusal.do(DEFAULT) == "Leave the hall."
    assert not refusal.is_allowable
