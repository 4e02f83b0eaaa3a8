"""station.bench.calibration: a certificate holds until the end of its due day."""

from datetime import date

import pytest

from station.bench.calibration import Calibration


@pytest.mark.parametrize(("today", "holds"), [
    (date(2026, 8, 31), False), (date(2026, 9, 1), True), (date(2027, 9, 1), True), (date(2027, 9, 2), False),
])
def test_validity(today, holds):
    fault = Calibration("C-1", date(2026, 9, 1), date(2027, 9, 1)).fault(today)
    assert (fault is None) is holds
