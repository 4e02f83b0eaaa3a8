"""The names of characteristics, which are a contract."""

import pytest

from station import units
from station.characteristic import CHARACTERISTICS, characteristic_of, unit_of


def test_names_are_unique():
    names = [full for c in CHARACTERISTICS for full in c.full_names()]
    assert len(names) == len(set(names))


def test_every_unit_is_in_the_table():
    for characteristic in CHARACTERISTICS:
        assert units.dimension(characteristic.unit)


@pytest.mark.parametrize(("name", "unit"), [
    ("hall_placement.b", "deg"), ("back_emf_constant_peak.mean", "V/krpm"), ("flux_linkage.ab", "mV s"),
    ("harmonic_25.ca", "%"), ("hall_sector_6", "deg"), ("winding_resistance.bc", "ohm"),
])
def test_units_of_full_names(name, unit):
    assert unit_of(name) == unit


def test_a_plain_name_covers_its_members_but_not_their_mean():
    assert characteristic_of("back_emf_constant_rms").limited_names() == (
        "back_emf_constant_rms.ab", "back_emf_constant_rms.bc", "back_emf_constant_rms.ca")
    assert characteristic_of("phase_angle").limited_names() == ("phase_angle.bc", "phase_angle.ca")
    assert characteristic_of("speed").limited_names() == ("speed",)
    assert characteristic_of("voltage") is None


def test_only_whole_numbers_are_counts_and_no_magnitude_may_be_negative():
    counts = {c.name for c in CHARACTERISTICS if c.nature == "count"}
    assert counts == {c.name for c in CHARACTERISTICS if c.unit == "1"}
    magnitudes = {c.name for c in CHARACTERISTICS if c.nature == "magnitude"}
    assert {"thd", "harmonic_7", "back_emf_unbalance", "winding_resistance_spread", "hall_jitter"} <= magnitudes
    assert not {"hall_placement", "phase_angle", "hall_hysteresis", "speed_drift", "back_emf_offset"} & magnitudes
