"""station.study.lots: scipy and a certified data set as oracles, then lots that differ and lots that drift."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from station.study.lots import between_groups, drifts, significant

# NIST StRD, SiRstv: resistivity of silicon by five instruments, five times each; certified F 1.18046237440255.
SILICON = np.array([
    [196.3052, 196.1240, 196.1890, 196.2569, 196.3403], [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
    [196.1303, 196.2005, 196.2889, 196.0343, 196.1811], [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
    [196.2119, 196.1051, 196.1850, 196.0052, 196.2090]])


def test_five_instruments_that_agree():
    found = between_groups(SILICON.ravel(), np.repeat(np.arange(5), 5))
    assert found.f == pytest.approx(1.18046237440255, rel=1e-9)
    assert found.p == pytest.approx(0.3495, abs=1e-3)
    assert found.within_s == pytest.approx(0.104076068334656, rel=1e-9)


def test_against_scipy_with_uneven_lots():
    rng = np.random.default_rng(1)
    lots = rng.integers(0, 4, 90)
    values = rng.normal(lots * 0.2, 1.0)
    oracle = stats.f_oneway(*(values[lots == lot] for lot in range(4)))
    found = between_groups(values, lots)
    assert (found.f, found.p) == pytest.approx((oracle.statistic, oracle.pvalue))


def test_variance_between_lots_is_recovered():
    rng = np.random.default_rng(2)
    lots = np.repeat(np.arange(300), 20)
    found = between_groups(rng.normal(0, 0.6, 300)[lots] + rng.normal(0, 1, lots.size), lots)
    assert found.between_s == pytest.approx(0.6, rel=0.1)
    assert found.within_s == pytest.approx(1.0, rel=0.05)
    assert found.share == pytest.approx(0.36 / 1.36, rel=0.2)


def test_nothing_to_compare():
    assert between_groups(np.arange(10.0), np.zeros(10, dtype=np.int64)) is None
    assert between_groups(np.arange(10.0), np.arange(10)) is None


def test_lots_without_spread_inside():
    found = between_groups(np.repeat([1.0, 2.0], 5), np.repeat([0, 1], 5))
    assert (found.p, found.within_s) == (0.0, 0.0)
    assert between_groups(np.full(10, 1.0), np.repeat([0, 1], 5)).p == 1.0


def test_the_lot_that_drifts_is_found():
    rng = np.random.default_rng(3)
    lots = np.repeat([0, 1, 2], [100, 120, 90])
    values = rng.normal(0, 1, 310)
    values[lots == 1] += np.linspace(0, 2, 120)
    found = {drift.lot: drift for drift in drifts(values, lots, ["K01", "K02", "K03"])}
    assert found["K02"].change == pytest.approx(2, abs=3 * found["K02"].u)
    assert found["K02"].p < 1e-6
    assert min(found["K01"].p, found["K03"].p) > 0.01


def test_change_is_from_the_first_motor_to_the_last():
    (found,) = drifts(np.linspace(5.0, 6.0, 40), np.zeros(40, dtype=np.int64), ["K01"])
    assert found.change == pytest.approx(1.0)


def test_a_lot_of_few_or_of_equal_values_is_not_asked():
    values = np.concatenate([np.arange(5.0), np.full(20, 3.0)])
    assert drifts(values, np.repeat([0, 1], [5, 20]), ["few", "equal"]) == []


@given(st.integers(0, 1000), st.floats(0.1, 100), st.floats(-100, 100))
def test_nothing_depends_on_unit_or_origin(seed, scale, shift):
    rng = np.random.default_rng(seed)
    lots, values = rng.integers(0, 3, 60), rng.normal(size=60)
    one, other = between_groups(values, lots), between_groups(values * scale + shift, lots)
    assert (other.f, other.share) == pytest.approx((one.f, one.share), rel=1e-6, abs=1e-9)
    for before, after in zip(drifts(values, lots, "abc"), drifts(values * scale + shift, lots, "abc"), strict=True):
        assert (after.change, after.p) == pytest.approx((before.change * scale, before.p), rel=1e-6)


def test_what_counts_against_scipy():
    chances = np.random.default_rng(4).uniform(0, 1, 40) ** 3
    adjusted = stats.false_discovery_control(chances)
    assert significant(list(chances), 0.05) == list(adjusted <= 0.05)
    assert any(adjusted <= 0.05)


def test_of_nothing_nothing_counts():
    assert significant([], 0.05) == []
