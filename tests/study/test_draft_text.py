"""A draft is its limit file with other bounds and nothing else: read back by the loader, and by the eye of a diff."""

import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.errors import UsageError
from station.judgement.limit_file import parse_limits
from station.study.draft_text import draft_text, next_number, with_bounds
from station.toml_file import parse_toml, read_toml

SHIPPED = sorted((Path(__file__).parents[2] / "limits").glob("*.toml"))
BASE = parse_limits(read_toml(next(path for path in SHIPPED if path.stem == "CP-40")))
NUMBERS = st.floats(-1e6, 1e6, allow_nan=False).map(lambda number: round(number, 6))


def read_back(text):
    return parse_limits(parse_toml(text.encode(), "draft.toml"))


@st.composite
def moves(draw):
    """A shipped limit file, and other bounds for some of its entries, each side that there is."""
    base = parse_limits(read_toml(draw(st.sampled_from(SHIPPED))))
    chosen = draw(st.lists(st.sampled_from(base.limits), max_size=6, unique=True))
    bounds = {}
    for limit in chosen:
        lower, upper = sorted((draw(NUMBERS), draw(NUMBERS)))
        bounds[limit.key] = (None if limit.lower is None else lower, None if limit.upper is None else upper)
    return base, bounds


@settings(max_examples=60, deadline=None)
@given(moves())
def test_the_draft_has_the_bounds_asked_for_and_every_other_line_as_it_was(case):
    base, bounds = case
    text = draft_text(base, bounds, number="Z9", note="tried")
    made = read_back(text)
    assert made.limits == with_bounds(base, bounds).limits
    assert (made.revision.number, made.revision.note, made.revision.released_by) == ("Z9", "tried", None)
    was, now = base.text.splitlines(), text.splitlines()
    gone = [line for line in was if line not in now]
    keys = ("number", "note", *("released_by", "released_on"), *bounds, *(f'"{key}"' for key in bounds))
    assert all(line.split(" =")[0] in keys for line in gone)
    assert [line for line in was if line.startswith("#")] == [line for line in now if line.startswith("#")]


def test_a_side_can_be_dropped_but_not_both():
    assert read_back(draft_text(BASE, {"hall_duty": (None, 53.0)}, number="B", note="")).limits == with_bounds(
        BASE, {"hall_duty": (None, 53.0)}).limits
    assert "lower" not in tomllib.loads(draft_text(BASE, {"hall_duty": (None, 53.0)}, number="B", note=""))[
        "limits"]["hall_duty"]
    with pytest.raises(UsageError, match="no limit"):
        with_bounds(BASE, {"hall_duty": (None, None)})


@pytest.mark.parametrize("written", [
    'winding_resistance = { unit = "mohm", lower = 541.5, upper = 598.5 }',
    '[limits.winding_resistance]\nunit = "mohm"    # as the meter shows it\nlower = 541.5\nupper = 598.5'])
def test_bounds_are_written_in_the_unit_and_the_way_of_the_entry(written):
    lines = [line for line in BASE.text.splitlines() if not line.startswith(("winding_resistance ", "["))
             or line.startswith("[")]
    base = read_back("\n".join([*lines, written, ""]))
    text = draft_text(base, {"winding_resistance": (0.55, 0.5985)}, number="B", note="")
    assert "lower = 550.0" in text
    assert "upper = 598.5" in text
    assert ("# as the meter shows it" in text) == ("meter" in written)
    assert read_back(text).limits[-1].lower == pytest.approx(0.55)


@pytest.mark.parametrize(("bounds", "told"), [
    ({"no_such": (1.0, 2.0)}, "no such limit"), ({"thd": (None, float("nan"))}, "no limit"),
    ({"hall_duty": (60.0, 50.0)}, "above the upper"), ({"hall_duty": (float("-inf"), 50.0)}, "no limit")])
def test_what_is_no_limit_is_refused(bounds, told):
    with pytest.raises(UsageError, match=told):
        draft_text(BASE, bounds, number="B", note="")


def test_a_draft_that_would_not_hold_is_refused():
    with pytest.raises(UsageError, match="cannot be changed"):
        draft_text(BASE, {}, number="", note="")     # a limit file needs a number


@pytest.mark.parametrize(("number", "used", "following"), [
    ("A", {"A"}, "B"), ("Z", {"Z"}, "Z2"), ("7", {"7", "8"}, "9"), ("C2", {"C2"}, "C3"), ("1.9", {"1.9"}, "1.10"),
    ("pilot", {"pilot"}, "pilot2"), ("A", {"A", "B", "C"}, "D"), ("E", {"A"}, "E")])
def test_numbers_of_revisions_go_on(number, used, following):
    assert next_number(number, used) == following
