"""station.bench.calibration: a certificate holds until the end of its due day, or of its written extension."""

from datetime import date

import pytest

from station.bench.calibration import Calibration, Extension


@pytest.mark.parametrize(("today", "holds"), [
    (date(2026, 8, 31), False), (date(2026, 9, 1), True), (date(2027, 9, 1), True), (date(2027, 9, 2), False),
])
def test_validity(today, holds):
    fault = Calibration("C-1", date(2026, 9, 1), date(2027, 9, 1)).fault(today)
    assert (fault is None) is holds


@pytest.mark.parametrize(("today", "holds"), [
    (date(2026, 8, 31), False), (date(2026, 9, 1), True), (date(2027, 9, 2), True), (date(2027, 9, 30), True),
    (date(2027, 10, 1), False),
])
def test_an_extension_holds_to_the_end_of_its_last_day_and_then_is_like_none(today, holds):
    extension = Extension("M. Odera", "the laboratory is shut until October", date(2027, 9, 30))
    fault = Calibration("C-1", date(2026, 9, 1), date(2027, 9, 1), extension).fault(today)
    assert (fault is None) is holds
    if today > extension.until:
        assert "M. Odera" in str(fault)
        assert "2027-09-30" in str(fault)
