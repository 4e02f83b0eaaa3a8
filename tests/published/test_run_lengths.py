"""Average run lengths of control charts against printed tables.

Sources: Montgomery, Introduction to Statistical Quality Control, tables of the EWMA chart and of Shewhart's, after
Lucas and Saccucci, Technometrics 32 (1990); from memory, and equal to what an integral equation gives.
"""

import pytest

from station.study.run_length import ewma_run_length, shewhart_run_length

SHIFTS = (0, 0.25, 0.5, 0.75, 1, 1.5, 2, 3, 4)
SHEWHART = ("370.4", "281", "155", "81.2", "43.9", "15.0", "6.30", "2.00", "1.19")
EWMA = {
    (0.4, 3.054): ("500", "224", "71.2", "28.4", "14.3", "5.9", "3.5", "2.0", "1.4"),
    (0.2, 2.962): ("500", "150", "41.8", "18.2", "10.5", "5.5", "3.7", "2.4", "1.9"),
    (0.1, 2.814): ("500", "106", "31.3", "15.9", "10.3", "6.1", "4.4", "2.9", "2.2"),
    (0.05, 2.615): ("500", "84.0", "28.8", "16.4", "11.4", "7.1", "5.2", "3.5", "2.7"),
}


def as_printed(value, printed):
    """Return whether `value` agrees with a printed number within one of its last digit."""
    digits = len(printed.partition(".")[2])
    return abs(value - float(printed)) <= 10.0 ** -digits * (1 if float(printed) < 400 else 2)


@pytest.mark.parametrize(("shift", "printed"), list(zip(SHIFTS, SHEWHART, strict=True)))
def test_shewhart(shift, printed):
    assert as_printed(shewhart_run_length(shift), printed)


@pytest.mark.parametrize(("smoothing", "limit", "shift", "printed"), [
    (*chart, shift, printed) for chart, row in EWMA.items() for shift, printed in zip(SHIFTS, row, strict=True)])
def test_ewma(smoothing, limit, shift, printed):
    assert as_printed(ewma_run_length(shift, smoothing, limit), printed)
