"""station.study.correlation: scipy and pandas as oracles, then what is named and what is not."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from station.study.correlation import correlate, interval


def test_complete_columns_against_scipy():
    rng = np.random.default_rng(1)
    values = rng.normal(size=(80, 4))
    values[:, 1] += values[:, 0]
    values[:, 3] = np.round(values[:, 3])       # ties
    found = correlate("abcd", values.T)
    assert found.r == pytest.approx(stats.spearmanr(values).statistic)
    assert np.all(found.n == 80)


def test_missing_values_against_pandas():
    rng = np.random.default_rng(2)
    frame = pd.DataFrame(rng.normal(size=(120, 5)), columns=list("abcde"))
    frame = frame.mask(rng.uniform(size=frame.shape) < 0.1)
    found = correlate(list(frame), [frame[name].to_numpy() for name in frame])
    assert found.r == pytest.approx(frame.rank().corr(min_periods=25).to_numpy())


def test_too_few_or_constant_columns_have_none():
    rng = np.random.default_rng(3)
    few = np.where(np.arange(60) < 20, rng.normal(size=60), np.nan)
    found = correlate(("few", "same", "full"), (few, np.full(60, 4.2), rng.normal(size=60)))
    assert np.isnan(found.r[0]).all()
    assert np.isnan(found.r[1]).all()
    assert found.r[2, 2] == pytest.approx(1)


def test_nothing_has_no_pairs():
    assert correlate((), ()).strongest(5, ()) == []


def test_a_defect_makes_no_correlation():
    rng = np.random.default_rng(4)
    one, other = rng.normal(size=(2, 200))
    one[0] = other[0] = 1000.0
    assert abs(correlate("ab", (one, other)).r[0, 1]) < 0.2


def test_strongest_pairs_are_of_different_families_and_each_two_once():
    rng = np.random.default_rng(5)
    cause, peak = rng.normal(size=(2, 100))
    near = [peak + rng.normal(0, 0.01, 100) for _ in range(2)]
    keys = ("peak.ab", "peak.bc", "ripple", "spread", "drag")
    columns = (*near, cause + rng.normal(0, 0.3, 100), cause + rng.normal(0, 0.3, 100), rng.normal(size=100))
    found = correlate(keys, columns).strongest(10, ("peak", "peak", "ripple", "spread", "drag"))
    assert {found[0].first, found[0].second} == {"ripple", "spread"}
    assert found[0].r.low < found[0].r.value < found[0].r.high
    assert len(found) == 6      # of four families
    assert not any({pair.first, pair.second} == {"peak.ab", "peak.bc"} for pair in found)
    assert len(correlate(keys, columns).strongest(1, keys)) == 1


def test_interval_covers():
    rng = np.random.default_rng(6)
    true = 6 / np.pi * np.arcsin(0.25)      # rank correlation of a normal pair with 0.5 (Pearson 1907, from memory)
    covered = 0
    for _ in range(500):
        x, y = rng.normal(size=(2, 60))
        found = interval(stats.spearmanr(x, 0.5 * x + np.sqrt(0.75) * y).statistic, 60)
        covered += found.low <= true <= found.high
    assert 0.92 < covered / 500 < 0.98


def test_whole_correlation_has_no_interval():
    assert interval(-1.0, 30).low == -1.0


@given(st.integers(0, 1000))
def test_any_rising_scale_gives_the_same(seed):
    columns = np.random.default_rng(seed).normal(size=(3, 40))
    assert correlate("abc", columns).r == pytest.approx(correlate("abc", np.exp(columns * [[1], [2], [0.1]])).r)
