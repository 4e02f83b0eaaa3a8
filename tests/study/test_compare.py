"""Comparing limit files: what is narrower, what is wider, and what judges otherwise."""

from dataclasses import replace

import pytest
from drawn_records import limit_line, limits_of
from hypothesis import given
from hypothesis import strategies as st

from station.judgement.decision_rule import acceptance
from station.judgement.limit_file import parse_limits
from station.study.compare import compare
from station.toml_file import parse_toml


def changes(old, new):
    return compare(limits_of(old), limits_of(new))


def one(old, new):
    change, = changes([limit_line("hall_placement.b", *old)], [limit_line("hall_placement.b", *new)])
    return change


@pytest.mark.parametrize(("old", "new", "direction", "words"), [
    ((-4.0, 4.0), (-3.0, 4.0), "narrower", "lower limit narrower by 1 °; tolerance 8 to 7 (-12.5 %)"),
    ((-4.0, 4.0), (-4.0, 4.5), "wider", "upper limit wider by 0.5 °; tolerance 8 to 8.5 (+6.25 %)"),
    ((-4.0, 4.0), (-3.0, 5.0), "moved", "lower limit narrower by 1 °; upper limit wider by 1 °"),
    ((-4.0, 4.0), (-3.0, 3.0), "narrower", "tolerance 8 to 6 (-25 %)"),
    ((None, 4.0), (-4.0, 4.0), "narrower", "lower limit -4 is new"),
    ((-4.0, 4.0), (-4.0, None), "wider", "upper limit 4 is dropped"),
])
def test_bounds(old, new, direction, words):
    change = one(old, new)
    assert (change.key, change.direction) == ("hall_placement.b", direction)
    assert words in change.words


def test_ranges_are_told_with_their_unit():
    change = one((-4.0, 4.0), (None, 4.0))
    assert (change.before, change.after) == ("-4 … 4 °", "… 4 °")
    assert one((-4.0, 4.0), (-4.0, None)).after == "-4 … °"


def test_a_limit_is_new_or_dropped_and_what_else_covers_its_values():
    plain, single = limit_line("hall_placement", -4.0, 4.0), limit_line("hall_placement.b", -3.0, 3.0)
    new, = changes([plain], [plain, single])
    assert (new.key, new.direction) == ("hall_placement.b", "new")
    assert new.words.endswith("limited by hall_placement")
    dropped, = changes([single, plain], [plain])
    assert (dropped.direction, dropped.before) == ("dropped", "-3 … 3 °")
    lone, = changes([plain, single], [single])
    assert lone.words.endswith("limited by hall_placement.b")
    other, = changes([plain, limit_line("hall_eccentricity", None, 3.0)], [plain])
    assert "nothing limits" in other.words


def test_rule_runs_and_type_are_told_once():
    line = limit_line("hall_placement.b", -4.0, 4.0)
    rule, = compare(limits_of([line]), limits_of([line], rule="simple"))
    assert (rule.key, rule.direction, rule.before, rule.after) == ("decision", "rule", "guarded, 1.65 u", "simple")
    before = limits_of([line])
    runs, = compare(before, replace(before, runs_allowed=before.runs_allowed + 1))
    assert (runs.key, runs.words) == ("runs.allowed", "a motor may be tested more often")
    kind = replace(before.motor_type, pole_pairs=5, sensors=replace(before.motor_type.sensors, spacing_deg=60))
    keys = [change.key for change in compare(before, replace(before, motor_type=kind))]
    assert keys == ["type.pole_pairs", "type.sensors.spacing_deg"]


def test_a_rule_of_a_limit_itself():
    own = '"hall_placement.b" = { unit = "deg", lower = -4.0, upper = 4.0, rule = "simple" }'
    change, = changes([limit_line("hall_placement.b", -4.0, 4.0)], [own])
    assert (change.key, change.direction, change.after) == ("hall_placement.b", "rule", "simple")


def test_notes_and_revision_are_no_change():
    line = limit_line("hall_placement.b", -4.0, 4.0)
    assert compare(limits_of([line]), limits_of([line], number="B", released=False)) == ()


def test_limits_in_another_unit_are_the_same_limits():
    text = limits_of([limit_line("winding_resistance.ab", 0.1, 0.2, "ohm")]).text
    other = text.replace('unit = "ohm", lower = 0.1, upper = 0.2', 'unit = "mohm", lower = 100.0, upper = 200.0')
    if other == text:
        pytest.fail("nothing was replaced")
    assert compare(*(parse_limits(parse_toml(one.encode(), "x.toml")) for one in (text, other))) == ()


BOUND = st.none() | st.integers(-8, 8).map(float)


@given(st.tuples(BOUND, BOUND), st.tuples(BOUND, BOUND), st.floats(-9, 9))
def test_what_a_narrower_limit_accepts_the_wider_one_accepts_too(old, new, value):
    for bounds in (old, new):
        if bounds == (None, None) or (None not in bounds and bounds[0] >= bounds[1]):
            return
    found = changes([limit_line("hall_placement.b", *old)], [limit_line("hall_placement.b", *new)])
    directions = {change.direction for change in found}
    accepted = [_accepts(bounds, value) for bounds in (old, new)]
    if directions in ({"narrower"}, set()):
        assert accepted[0] or not accepted[1]
    if directions in ({"wider"}, set()):
        assert accepted[1] or not accepted[0]


def _accepts(bounds, value):
    zone = acceptance(*bounds, 0.01, limits_of([limit_line("hall_placement.b", -1.0, 1.0)]).decision)
    return ((zone.lower is None or zone.lower <= value) and (zone.upper is None or value <= zone.upper))
