"""Runs of a known motor: which count, what of them is studied, and what cannot be."""

import pytest
from drawn_records import limit_line, limits_of, record_of

from station.cli.study_gauge_tables import SHOWN, known_table
from station.errors import UsageError
from station.study.type_one_runs import study_known_motor

SERIAL = "CP40-R001"
LABEL = "forward 1000"
NAMES = tuple(f"hall_{what}.{sensor}" for what in ("placement", "eccentricity", "angle_rise", "angle_fall", "jitter")
              for sensor in "abc")
LIMITS = limits_of([limit_line(f"{name}@{LABEL}", lower=-4.0, upper=4.0) for name in NAMES])
EXPECTED = {(name, LABEL): 1.0 for name in NAMES}


def run_of(number, *, names=NAMES, purpose="reference check", **more):
    """A run in which each value is by a hundredth of its place in NAMES above 1, and scatters by its parity."""
    measured = {(name, LABEL): (1.0 + 0.01 * NAMES.index(name) + 0.001 * (number % 2), 0.002) for name in names}
    return record_of(SERIAL, measured, LIMITS, purpose=purpose, **more) | {"run": number}


def test_runs_that_count_are_those_of_no_production_that_finished_and_stand():
    records = [run_of(1, purpose=""), run_of(2, trouble=True), run_of(3),
               *(run_of(number, purpose="gauge study G1") for number in range(4, 14))]
    known = study_known_motor(records, frozenset({(SERIAL, 3)}), SERIAL, EXPECTED)
    assert known.runs == 10
    assert known.warning == "Only 10 runs: 25 or more say something."
    first = known.studied[0]
    assert first.key == f"{NAMES[-1]}@{LABEL}"      # the largest bias is the least capable
    assert first.study.bias == pytest.approx(0.14 + 0.0005)
    assert (first.lower, first.upper) == (-4.0, 4.0)


def test_runs_by_another_sequence_do_not_compare():
    old = [run_of(number) | {"sequence": {"name": "old", "revision": "A", "sha256": 64 * "6"}} for number in range(9)]
    assert study_known_motor([*old, *(run_of(n) for n in range(9, 19))], frozenset(), SERIAL, EXPECTED).runs == 10
    with pytest.raises(UsageError, match="got 9"):
        study_known_motor([*old, *(run_of(n) for n in range(9, 18))], frozenset(), SERIAL, EXPECTED)


def test_a_value_that_some_run_lacks_is_left_out_and_told():
    records = [run_of(1, names=NAMES[1:]), *(run_of(number) for number in range(2, 12))]
    known = study_known_motor(records, frozenset(), SERIAL, EXPECTED)
    assert known.left_out == (f"{NAMES[0]}@{LABEL}",)
    assert len(known.studied) == len(NAMES) - 1


def test_nothing_expected_is_nothing_to_study():
    with pytest.raises(UsageError, match="nothing to study"):
        study_known_motor([run_of(number) for number in range(10)], frozenset(), SERIAL, {("thd.ab", LABEL): 1.0})


def test_the_table_shows_the_worst_or_all():
    known = study_known_motor([run_of(number) for number in range(10)], frozenset(), SERIAL, EXPECTED)
    assert known_table(known, everything=False).row_count == SHOWN < len(NAMES)
    assert known_table(known, everything=True).row_count == len(NAMES)
