"""station.study.anova against the certified data sets of NIST, which come inside scipy's wheel."""

from math import log10
from pathlib import Path

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from station.study.anova import crossed, one_way, variance_ratio

NIST = Path(scipy.stats.__file__).parent / "tests" / "data" / "nist_anova"


def read_nist(name):
    """Return the groups and the certified F of a file of the Statistical Reference Datasets."""
    lines = (NIST / f"{name}.dat").read_text().splitlines()
    certified = float(next(line for line in lines if line.startswith("Between")).split()[-1])
    rows = np.array([[float(word) for word in line.split()] for line in lines[60:] if line.split()])
    return [rows[rows[:, 0] == group, 1] for group in np.unique(rows[:, 0])], certified


def digits(value, certified):
    """Return how many digits agree (log relative error, as NIST defines it)."""
    return 15.0 if value == certified else -log10(abs(value - certified) / abs(certified))


# What double precision leaves of the input: SmLs07 to SmLs09 have thirteen digits of constant before the spread.
@pytest.mark.parametrize(("name", "agreeing"), [
    ("SiRstv", 12.5), ("AtmWtAg", 9.5), ("SmLs01", 13), ("SmLs02", 13), ("SmLs03", 13), ("SmLs04", 9.8),
    ("SmLs05", 9.8), ("SmLs06", 9.8), ("SmLs07", 4), ("SmLs08", 4), ("SmLs09", 4)])
def test_certified_f(name, agreeing):
    groups, certified = read_nist(name)
    between, within = one_way(groups)
    assert digits(variance_ratio(between, within).f, certified) >= agreeing


def test_five_instruments_that_agree():
    """SiRstv, silicon resistivity by five instruments: F 1.18046, which chance makes in a third of all cases."""
    groups, _ = read_nist("SiRstv")
    ratio = variance_ratio(*one_way(groups))
    assert ratio.f == pytest.approx(1.18046237440255, rel=1e-12)
    assert ratio.p == pytest.approx(scipy.stats.f_oneway(*groups).pvalue, rel=1e-9)


tables = arrays.arrays(float, st.tuples(st.integers(2, 5), st.integers(2, 4), st.integers(2, 3)),
                       elements=st.floats(-100, 100, allow_subnormal=False))


@given(tables)
def test_the_sources_add_up_to_the_total(values):
    table = crossed(values)
    sources = (table.part, table.operator, table.interaction, table.repeatability)
    assert sum(s.ss for s in sources) == pytest.approx(table.total.ss, rel=1e-9, abs=1e-6)
    assert sum(s.dof for s in sources) == table.total.dof == values.size - 1


@given(tables, st.floats(0.1, 10), st.floats(-1e3, 1e3))
def test_a_shift_leaves_them_and_a_scale_squares(values, scale, shift):
    before, after = crossed(values), crossed(scale * values + shift)
    for name in ("part", "operator", "interaction", "repeatability"):
        assert getattr(after, name).ss == pytest.approx(scale**2 * getattr(before, name).ss, rel=1e-6, abs=1e-4)


@given(tables)
def test_motors_against_the_rest_is_the_one_way_table(values):
    between, within = one_way(list(values.reshape(values.shape[0], -1)))
    table = crossed(values)
    assert table.part.ss == pytest.approx(between.ss, rel=1e-9, abs=1e-6)
    assert within.ss == pytest.approx(table.operator.ss + table.interaction.ss + table.repeatability.ss, rel=1e-9,
                                      abs=1e-6)


@given(tables)
def test_a_gauge_that_never_varies_leaves_no_rounding(values):
    """A count, or a reading far coarser than the gauge: motors differ, and the same motor never does."""
    table = crossed(np.broadcast_to(values[:, :1, :1] / 3, values.shape))
    assert table.repeatability.ss == table.operator.ss == table.interaction.ss == 0


def test_nothing_varies():
    table = crossed(np.full((3, 2, 2), 4.5))
    assert table.total.ss == 0
    assert variance_ratio(table.part, table.repeatability).f is None
