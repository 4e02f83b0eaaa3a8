"""Weak and reversed poles, told from weak magnets by how much the half cycles differ."""

from dataclasses import replace
from math import nan

import pytest

from station.analysis.magnet_causes import PoleEvidence, pole_causes
from station.analysis.suspicion import suspicion

UNJUDGED = PoleEvidence(spread=0.3, is_reversed=False, wobble=False, emf_low=False, deficit=nan,
                        suspicion=suspicion(None))
LOW = replace(UNJUDGED, emf_low=True, suspicion=suspicion({"back_emf_constant_peak.ab": "low"}))


def codes(evidence, **changes):
    return [found.code for found in pole_causes(replace(evidence, **changes))]


@pytest.mark.parametrize(("spread", "expected"), [(None, []), (0.3, []), (4.9, []), (6.0, ["weak_pole"]),
                                                  (35.0, ["reversed_magnet"])])
def test_without_limits_only_what_no_good_motor_shows(spread, expected):
    """Source: a reversed magnet gives 35 to 45 % with 9 slots and 8 poles, 20 to 25 % with 12 and 10 (derived)."""
    assert codes(UNJUDGED, spread=spread) == expected


def test_edges_that_show_a_reversed_magnet_need_no_second_finding():
    assert codes(UNJUDGED, spread=35.0, is_reversed=True) == []


@pytest.mark.parametrize(("spread", "deficit", "expected"), [
    (4.0, 5.0, ["weak_pole"]), (0.4, 5.0, []), (2.0, 20.0, []), (2.0, nan, ["weak_pole"]),
])
def test_a_weak_pole_makes_half_cycles_differ_by_its_loss(spread, deficit, expected):
    """Source: one weak pole makes 0.8 to 1.7 % between half cycles for each 1.0 to 1.25 % that is lost (derived)."""
    assert codes(LOW, spread=spread, deficit=deficit) == expected


def test_a_wobble_of_the_edges_is_named_as_such():
    failed = replace(UNJUDGED, suspicion=suspicion({"pole_spread.ab": "high"}), spread=6.0)
    assert codes(failed) == ["weak_pole"]
    assert codes(failed, wobble=True) == []


def test_what_it_cannot_be_told_from_is_said():
    (found,) = pole_causes(replace(LOW, spread=4.0, deficit=5.0))
    for words in ("4 %", "all poles are weak and unlike besides", "out of centre", "field probe"):
        assert words in found.text
