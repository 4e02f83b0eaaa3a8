"""Uncertainty budgets against the worked examples of the guides."""

from math import floor, inf, sqrt

import pytest
from scipy.stats import t

from station.analysis.budget import combine, limit_of_error
from station.measurement import BudgetRow


def test_end_gauge():
    """Source: JCGM 100:2008, H.1: u 32 nm, 16 degrees of freedom, U 93 nm at 99 %; terms as printed in its table."""
    length, expansion = 50_000_623.0, 11.5e-6  # nm, per K
    rows = [
        BudgetRow("standard", "B", "normal", 25.0, 18),
        BudgetRow("repeated observations", "A", "normal", 5.8, 24),
        BudgetRow("comparator, random", "A", "normal", 3.9, 5),
        BudgetRow("comparator, systematic", "B", "normal", 6.7, 8),
        BudgetRow("difference in expansion", "B", "rectangular", length * 0.1 * 1e-6 / sqrt(3), 50),
        BudgetRow("difference in temperature", "B", "rectangular", length * expansion * 0.05 / sqrt(3), 2),
    ]
    u, dof = combine(rows)
    assert u == pytest.approx(31.66, abs=0.01)
    assert dof == pytest.approx(16.75, abs=0.02)
    assert t.ppf(0.995, floor(dof)) * u == pytest.approx(93, abs=0.6)


def test_display_of_a_hand_held_meter():
    """Source: EA-4/02 M, S9, from memory: 100 V calibrator, u 0.030 V, half a digit of the display dominates."""
    u, dof = combine([limit_of_error("display", 0.05), BudgetRow("calibrator", "B", "normal", 0.001, inf),
                      limit_of_error("other influences", 0.011)])
    assert u == pytest.approx(0.030, abs=5e-4)
    assert dof == inf


def test_limit_of_error_is_rectangular():
    """Source: JCGM 100:2008, 4.3.7: a half width of 1 gives 0.57735."""
    assert limit_of_error("x", 1.0).u == pytest.approx(0.57735, abs=1e-5)
