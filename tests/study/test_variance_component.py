"""station.study.variance_component: where intervals are exact, and how often they cover the truth."""

import numpy as np
import pytest
from scipy import stats

from station.study.anova import Source
from station.study.variance_component import Term, component


def source(ms, dof):
    return Source(ms * dof, dof)


@pytest.mark.parametrize("dof", [2, 9, 60])
def test_one_mean_square_has_the_exact_interval(dof):
    made = component([Term(0.5, source(3.0, dof))])
    assert made.variance == pytest.approx(1.5)
    assert made.low == pytest.approx(1.5 * dof / stats.chi2.ppf(0.975, dof))
    assert made.high == pytest.approx(1.5 * dof / stats.chi2.ppf(0.025, dof))


@pytest.mark.parametrize(("n1", "n2"), [(9, 18), (2, 60), (19, 38), (4, 4)])
def test_a_difference_is_bounded_away_from_zero_exactly_where_f_is_significant(n1, n2):
    """The end of the interval and the F test of the same level agree (Ting and others, 1990, by construction)."""
    just = stats.f.ppf(0.975, n1, n2)
    assert component([Term(1.0, source(just, n1)), Term(-1.0, source(1.0, n2))]).low == pytest.approx(0, abs=1e-6)
    assert component([Term(1.0, source(1.02 * just, n1)), Term(-1.0, source(1.0, n2))]).low > 0
    none = stats.f.ppf(0.025, n1, n2)
    assert component([Term(1.0, source(none, n1)), Term(-1.0, source(1.0, n2))]).high == pytest.approx(0, abs=1e-6)


def test_a_second_mean_square_that_is_nothing_leaves_the_exact_interval():
    alone = component([Term(1.0, source(7.0, 9))])
    beside = component([Term(1.0, source(7.0, 9)), Term(-1.0, source(1e-9, 50))])
    assert (beside.low, beside.high) == (pytest.approx(alone.low, rel=1e-6), pytest.approx(alone.high, rel=1e-6))


TRUE = {"part": 25.0, "operator": 4.0, "interaction": 1.0, "repeatability": 2.25}
MOTORS, LEVELS, REPEATS = 10, 5, 3


def expected_squares():
    below = TRUE["repeatability"] + REPEATS * TRUE["interaction"]
    return ((below + LEVELS * REPEATS * TRUE["part"], MOTORS - 1),
            (below + MOTORS * REPEATS * TRUE["operator"], LEVELS - 1), (below, (MOTORS - 1) * (LEVELS - 1)),
            (TRUE["repeatability"], MOTORS * LEVELS * (REPEATS - 1)))


def test_coverage():
    """Mean squares drawn as they are distributed: 95 % intervals cover the truth in 93 to 98 % of 1500 studies."""
    random, n = np.random.default_rng(5), 1500
    covered = dict.fromkeys(("gauge", "part", "operator", "interaction"), 0)
    truth = {**TRUE, "gauge": TRUE["operator"] + TRUE["interaction"] + TRUE["repeatability"]}
    for _ in range(n):
        part, operator, inter, error = (source(ms * random.chisquare(dof) / dof, dof) for ms, dof in expected_squares())
        made = {"part": component([Term(1 / (LEVELS * REPEATS), part), Term(-1 / (LEVELS * REPEATS), inter)]),
                "operator": component([Term(1 / (MOTORS * REPEATS), operator),
                                       Term(-1 / (MOTORS * REPEATS), inter)]),
                "interaction": component([Term(1 / REPEATS, inter), Term(-1 / REPEATS, error)]),
                "gauge": component([Term(1 / (MOTORS * REPEATS), operator),
                                    Term((MOTORS - 1) / (MOTORS * REPEATS), inter),
                                    Term((REPEATS - 1) / REPEATS, error)])}
        for name, one in made.items():
            covered[name] += one.low <= truth[name] <= one.high
    for name, count in covered.items():
        assert 0.93 <= count / n <= 0.98, (name, count / n)
