"""The risks of a limit file are those of the motors in the store."""

import numpy as np
import pytest
from drawn_records import LABELS, limit_line, limits_of, record_of, store_record

from station.errors import UsageError
from station.judgement.decision_rule import acceptance
from station.record.store import Store
from station.study.risk import Interval, Normal, global_risks, whole_motor
from station.study.risk_of_type import risks_of_type
from station.study.wide_table import read_table

MOTORS = 60
KEY = "hall_placement.b@forward 1000"
PLACEMENT = limit_line("hall_placement.b", -4.0, 4.0)
U = 0.5


def lay_down(folder, values, limits, **said):
    """Store a motor for each row of `values`, of which each holds the placement in both captures."""
    with Store(folder) as store:
        for number, row in enumerate(values):
            measured = {("hall_placement.b", label): (float(v), U) for label, v in zip(LABELS, row, strict=True)}
            store_record(store, record_of(f"M{number}", measured, limits, **said))


def draw(spread=1.0, shift=0.5, motors=MOTORS):
    return np.random.default_rng(8).normal(shift, spread, (motors, 2))


LIMITS = limits_of([PLACEMENT])


@pytest.fixture
def limits():
    return LIMITS


@pytest.fixture(scope="module")
def common(tmp_path_factory):
    """A store of ordinary motors, which tests only read."""
    folder = tmp_path_factory.mktemp("common")
    lay_down(folder, draw(), LIMITS)
    return folder


def risks(folder, limits):
    return risks_of_type(read_table(folder, "CP-40"), limits)


def test_a_value_is_reckoned_from_its_place_spread_and_uncertainty(common, limits):
    values = draw()
    found = {value.key: value for value in risks(common, limits).values}[KEY]
    assert (found.n, found.u, found.capability) == (MOTORS, U, 4.0)
    assert found.process.mean == pytest.approx(np.median(values[:, 0]))
    assert found.process.sd == pytest.approx(1.0, rel=0.3)
    zone = acceptance(-4.0, 4.0, U, limits.decision)
    accepted = Interval(zone.lower, zone.upper)
    assert found.acceptance == accepted
    assert found.modelled == global_risks(found.process, U, Interval(-4.0, 4.0), accepted)
    # a motor measured there would be measured within the acceptance limits with this probability
    rng = np.random.default_rng(1)
    again = values[:, 0] + rng.normal(0, U, (20_000, MOTORS))
    taken = (again >= zone.lower) & (again <= zone.upper)
    assert found.stored.accepted == pytest.approx(taken.mean(), abs=0.001)
    good = np.abs(values[:, 0]) <= 4
    assert found.stored.producer == pytest.approx((good & ~taken).mean(), abs=0.001)


def test_the_whole_motor(tmp_path, limits):
    values = draw(spread=2.0)
    values[:, 1] = values[:, 0]         # both captures tell the same of a motor
    lay_down(tmp_path, values, limits)
    found = risks(tmp_path, limits)
    assert found.independent == whole_motor([value.modelled for value in found.values])
    assert (found.motors, found.left_out, found.unseen) == (MOTORS, 0, ())
    good = (np.abs(values) <= 4).all(axis=1).mean()
    assert found.together.conforming == pytest.approx(good)
    assert found.independent.conforming < good - 0.01        # as if a motor were bad twice
    assert found.together.accepted == pytest.approx(found.together.consumer + good - found.together.producer)


def test_a_gross_failure_widens_no_spread_and_is_still_there(tmp_path, limits):
    values = draw()
    lay_down(tmp_path, values, limits)
    before = risks(tmp_path, limits).values[0].process.sd
    with Store(tmp_path) as store:
        store_record(store, record_of("gross", {("hall_placement.b", label): (55.0, U) for label in LABELS}, limits))
    after = risks(tmp_path, limits)
    assert all(value.process.sd == pytest.approx(before, rel=0.3) for value in after.values)
    assert after.together.conforming < 1 - 1 / (MOTORS + 2)


def test_the_narrowest_limit_wins_where_two_limits_meet(common):
    limits = limits_of([PLACEMENT, limit_line("hall_placement", -3.0, 9.0), limit_line(KEY, -9.0, 2.5)])
    found = {value.key: value for value in risks(common, limits).values}
    assert found[KEY].tolerance == Interval(-3.0, 2.5)
    assert found[KEY].acceptance == Interval(pytest.approx(-3.0 + 1.65 * U), pytest.approx(2.5 - 1.65 * U))
    assert found[KEY.replace("forward", "reverse")].tolerance == Interval(-3.0, 4.0)


def test_limits_without_values_are_told(common):
    limits = limits_of([PLACEMENT, limit_line("hall_duty", 47.0, 53.0, unit="%")])
    assert risks(common, limits).unseen == ("hall_duty",)


def test_a_value_that_few_motors_have_is_told_and_hinders_no_other(tmp_path, limits):
    lay_down(tmp_path, draw(), limits)
    with Store(tmp_path) as store:
        for number in range(24):
            measured = {("hall_placement.b", label): (1.0, U) for label in (*LABELS, "forward 9000")}
            store_record(store, record_of(f"N{number}", measured, limits))
    found = risks(tmp_path, limits)
    assert found.unseen == ("hall_placement.b@forward 9000",)
    assert {value.n for value in found.values} == {MOTORS + 24}


def test_motors_with_a_value_missing_are_left_out_of_the_whole(tmp_path, limits):
    lay_down(tmp_path, draw(), limits)
    with Store(tmp_path) as store:
        store_record(store, record_of("half", {("hall_placement.b", LABELS[0]): (99.0, U)}, limits))
    found = risks(tmp_path, limits)
    assert (found.motors, found.left_out) == (MOTORS, 1)


def test_where_nothing_can_be_accepted_every_good_motor_is_lost(tmp_path):
    limits = limits_of([limit_line("hall_placement.b", -0.9, 0.9)])
    lay_down(tmp_path, draw(spread=0.1, shift=0.0), limits_of([PLACEMENT]))
    found = risks(tmp_path, limits)
    assert found.values[0].acceptance is None
    assert (found.together.accepted, found.together.producer) == (0.0, 1.0)


def test_counts_that_are_always_right_bear_no_risk(tmp_path, limits):
    edges = limits_of([PLACEMENT, '"phase_order" = { unit = "1", lower = 1, upper = 1 }'])
    with Store(tmp_path) as store:
        for number, row in enumerate(draw()):
            measured = {("hall_placement.b", label): (float(v), U) for label, v in zip(LABELS, row, strict=True)}
            order = -1.0 if number < 3 else 1.0
            store_record(store, record_of(f"M{number}", {("phase_order", label): (order, 0.0) for label in LABELS}
                                          | measured, limits))
    found = {value.key: value for value in risks(tmp_path, edges).values}["phase_order@forward 1000"]
    assert found.process == Normal(1.0, 0.0)
    assert (found.modelled.consumer, found.modelled.accepted) == (0.0, 1.0)
    assert (found.stored.consumer, found.stored.accepted) == (0.0, pytest.approx(1 - 3 / MOTORS))


@pytest.mark.parametrize("motors", [24, 25, 100])
def test_few_motors_are_refused_or_warned_of(tmp_path, limits, motors):
    lay_down(tmp_path, draw(motors=motors), limits)
    if motors < 25:
        with pytest.raises(UsageError, match="too few motors"):
            risks(tmp_path, limits)
    else:
        assert bool(risks(tmp_path, limits).warning) == (motors < 100)


def test_later_runs_and_runs_for_other_purposes_do_not_count(tmp_path, limits):
    lay_down(tmp_path, draw(), limits)
    lay_down(tmp_path, draw(shift=99.0), limits)                        # the same motors once more
    with Store(tmp_path) as store:
        for number in range(30):
            measured = {("hall_placement.b", label): (99.0, U) for label in LABELS}
            store_record(store, record_of(f"R{number}", measured, limits, purpose="reference"))
    assert risks(tmp_path, limits).values[0].n == MOTORS
