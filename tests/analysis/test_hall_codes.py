"""Codes of both layouts against published tables."""

import numpy as np
import pytest
from hall_signals import LAYOUTS

from station.analysis.hall_codes import CodeLine, code_text, declared_intervals, intervals, walk_codes

# Source: 120 degree table derived from H_A = sign of e_ab and so on; it is the cycle 5-4-6-2-3-1 that motor
# controller notes print (a as the most significant bit). 60 degree table: middle sensor inverted.
PUBLISHED = {120: "101 100 110 010 011 001", 60: "100 110 111 011 001 000"}


@pytest.mark.parametrize("spacing", [60, 120])
def test_declared_cycle_is_the_published_one(spacing):
    found = [code_text(each.code) for each in declared_intervals(LAYOUTS[spacing])]
    published = PUBLISHED[spacing].split()
    start = published.index(found[0])
    assert found == published[start:] + published[:start]
    assert [each.width_deg for each in declared_intervals(LAYOUTS[spacing])] == pytest.approx([60.0] * 6)


def test_displaced_sensor_gives_the_derived_widths():
    """Source: sectors 60, 60+d, 60-d, 60, 60+d, 60-d from a's rise (derived)."""
    widths = [each.width_deg for each in intervals((0, 126, 240), (180, 306, 60))]
    assert widths == pytest.approx([60, 66, 54, 60, 66, 54])


@pytest.mark.parametrize(("inverted", "forbidden"), [(0, {"011", "100"}), (1, {"010", "101"}), (2, {"001", "110"})])
def test_absent_pair_names_the_inverted_sensor(inverted, forbidden):
    """Source: derived table of the codes that go missing when one wire of a 120 degree set is inverted."""
    rises = [rise + 180 * (sensor == inverted) for sensor, rise in enumerate((0.0, 120.0, 240.0))]
    falls = [rise + 180 for rise in rises]
    seen = {code_text(each.code) for each in intervals(tuple(rises), tuple(falls))}
    assert {f"{code:03b}" for code in range(8)} - seen == forbidden


@pytest.mark.parametrize("spacing", [60, 120])
@pytest.mark.parametrize("sense", [1, -1])
def test_walk_tells_the_order_in_time(spacing, sense):
    turns = np.arange(10.0)
    times, rising = [], []
    for rise in LAYOUTS[spacing].rise_deg:
        up, down = (rise + 1) / 360 + turns, (rise + 181) / 360 + turns
        when = np.concatenate([up, down]) * sense
        order = np.argsort(when)
        times.append(when[order])
        rising.append((np.r_[np.ones(10, bool), np.zeros(10, bool)] == (sense > 0))[order])
    walk = walk_codes([CodeLine(when, up, not up[0]) for when, up in zip(times, rising, strict=True)], LAYOUTS[spacing])
    assert walk.order == sense
    assert walk.changes == 60
