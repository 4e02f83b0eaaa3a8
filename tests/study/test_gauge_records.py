"""Values of a gauge study out of stored records: what lacks a value is told by motor, and may be left out by name."""

import pytest
from drawn_records import limit_line, limits_of, record_of, store_record

from station.errors import UsageError
from station.record.gauge_run import GaugeRun
from station.record.store import Store
from station.study.gauge_records import read_study
from station.study.gauge_report import as_json, gauge_report

MOTORS = ("M1", "M2", "M3")
LEVELS = ("round 1", "round 2")
NAMES = ("hall_sector_min", "hall_sector_max", *(f"hall_{what}.{sensor}" for what in ("placement", "eccentricity")
                                                 for sensor in "ab"))
OF = len(MOTORS) * len(LEVELS) * 2


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    """A study of three motors, of which the last has one value only."""
    limits = limits_of([limit_line(f"{name}@forward 1000", lower=-9.0, upper=9.0) for name in NAMES])
    with Store(tmp_path_factory.mktemp("study") / "store") as store:
        number = 0
        for level in LEVELS:
            for motor in MOTORS:
                for repeat in (1, 2):
                    number += 1
                    place = GaugeRun("G1", number, OF, "refit", level, repeat, (number + 1) // 2, 64 * "9")
                    has = NAMES if motor != "M3" else NAMES[:1]
                    measured = {(name, "forward 1000"): (MOTORS.index(motor) + 0.01 * repeat, 0.02) for name in has}
                    record = record_of(motor, measured, limits, purpose=place.purpose)
                    store_record(store, record | {"gauge_run": place.as_record()})
        yield store


def test_values_that_a_motor_lacks_are_told_together_and_come_last(store):
    report = gauge_report(read_study([store], "G1"))
    assert [row.studied.key for row in report.rows if row.gauge] == ["hall_sector_min@forward 1000"]
    assert report.rows[0].gauge is not None
    said, = (remark for remark in report.remarks() if remark.startswith("Not studied"))
    assert "no value in 4 of 12 runs (M3): " in said
    assert "hall_sector_max@forward 1000" in said
    assert said.count("@") == 4
    assert "and 1 more" in said


def test_a_motor_left_out_is_told(store):
    report = gauge_report(read_study([store], "G1", ["M3"]))
    assert all(row.gauge for row in report.rows)
    assert report.rows[0].gauge.anova.part.dof == 1
    assert as_json(report)["motors"] == ["M1", "M2"]
    assert "Left out of this report, though planned and tested: M3." in report.remarks()


@pytest.mark.parametrize("without", [["M4"], ["M2", "M3"]])
def test_no_other_motors_and_not_too_many_are_left_out(store, without):
    with pytest.raises(UsageError, match="cannot be left out"):
        read_study([store], "G1", without)
