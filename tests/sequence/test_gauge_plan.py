"""station.sequence.gauge_plan: what is drawn, written and read, and what is refused."""

from collections import Counter

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.errors import FileContractError
from station.sequence.gauge_plan import StudyTable, draw_plan, parse_plan, plan_toml
from station.toml_file import parse_toml

MOTORS = ["M1", "M2", "M3", "M4", "M5"]


def study(by="refit", levels=("round 1", "round 2"), motors=MOTORS, repeats=3, seed=1):
    return StudyTable(id="G1", by=by, levels=list(levels), motors=list(motors), repeats=repeats, seed=seed)


def plan_of(described):
    text = plan_toml(described, draw_plan(described, np.random.default_rng(described.seed)))
    return parse_plan(parse_toml(text.encode(), "plans/G1.toml"))


@given(by=st.sampled_from(["refit", "shift", "station"]), levels=st.integers(2, 4), motors=st.integers(2, 6),
       repeats=st.integers(2, 4), seed=st.integers(0, 2**32))
def test_every_combination_once_and_level_by_level(by, levels, motors, repeats, seed):
    described = study(by, [f"L{k}" for k in range(levels)], [f"M{k}" for k in range(motors)], repeats, seed)
    plan = plan_of(described)
    assert plan.study == described
    places = [(run.place.level, run.motor, run.place.repeat) for run in plan.runs]
    assert len(set(places)) == len(places) == levels * motors * repeats
    assert [run.place.number for run in plan.runs] == list(range(1, len(places) + 1))
    assert {run.place.of for run in plan.runs} == {len(places)}
    assert [level for level, _, _ in places] == sorted(level for level, _, _ in places)
    fittings = Counter(run.place.fitting for run in plan.runs)
    assert set(fittings.values()) == {repeats if by == "refit" else 1}
    for fitting in fittings:
        assert len({run.motor for run in plan.runs if run.place.fitting == fitting}) == 1


def test_the_order_goes_by_the_seed_and_differs_between_rounds():
    first, again, other = plan_of(study(seed=1)), plan_of(study(seed=1)), plan_of(study(seed=2))
    assert first.text == again.text != other.text
    assert first.sha256 == again.sha256
    rounds = [[run.motor for run in first.runs if run.place.level == level] for level in ("round 1", "round 2")]
    assert rounds[0] != rounds[1]
    shift = plan_of(study("shift", ("early", "late")))
    early = [run.motor for run in shift.runs if run.place.level == "early"]
    assert early != sorted(early)           # repeats of a motor do not follow each other


@pytest.mark.parametrize(("old", "new", "said"), [
    ('motor = "M3", repeats = [1, 2, 3]', 'motor = "M3", repeats = [1, 2]', "no repeat 3 of M3"),
    ('motor = "M3", repeats = [1, 2, 3]', 'motor = "M9", repeats = [1, 2, 3]', "too many of repeat 1 of M9"),
    ("repeats = [1, 2, 3]", "repeats = [2, 1, 3]", "counted up"),
    ('levels = ["round 1", "round 2"]', 'levels = ["round 1"]', "at least 2"),
    ('"M1", "M2"]', '"M1", "M1"]', "2 times"),
    ("repeats = 3\n", "repeats = 1\n", "greater than or equal to 2"),
    ("format = 1", "format = 2", "format = 1"), ('by = "refit"', 'by = "mood"', "refit"),
])
def test_faults(old, new, said):
    described = study(motors=["M3", "M1", "M2"] if "M1" in old else MOTORS)
    text = plan_toml(described, draw_plan(described, np.random.default_rng(1)))
    assert old in text
    with pytest.raises(FileContractError) as caught:
        parse_plan(parse_toml(text.replace(old, new, 1).encode(), "G1.toml"))
    assert said in str(caught.value)
