"""station.study.wave_envelope: the band of many waves, against quantiles taken by hand."""

import numpy as np
import pytest
from drawn_records import limit_line, limits_of, record_of, store_record

from station.record.store import Store
from station.study.wave_envelope import MOST, SHARES, envelope, evenly_drawn

ANGLES = [0.0, 120.0, 240.0, 360.0]
LIMITS = limits_of([limit_line("hall_placement.b", -4.0, 4.0)])
MOTORS = 41


def plot_of(wave, label="forward 1000", angles=ANGLES):
    waves = {"ab": list(wave), "bc": list(-wave)}
    return {"label": label, "angle_deg": angles, "volts_per_krpm": waves, "hall_high": {}}


@pytest.fixture
def store(tmp_path):
    """Motors whose waves are drawn; one has none, one is on other angles."""
    random = np.random.default_rng(11)
    waves = random.normal(10, 1, (MOTORS, len(ANGLES))).round(6)
    with Store(tmp_path / "store") as opened:
        for number, wave in enumerate(waves):
            store_record(opened, record_of(f"M{number}", {}, LIMITS) | {"plots": [plot_of(wave)]})
        store_record(opened, record_of("bare", {}, LIMITS))
        other = plot_of(np.ones(3), angles=[0.0, 180.0, 360.0])
        store_record(opened, record_of("other", {}, LIMITS) | {"plots": [other]})
        yield opened, waves


def test_the_band_of_all_motors(store):
    opened, waves = store
    runs = [*((f"M{number}", 1) for number in range(MOTORS)), ("bare", 1), ("other", 1), ("M0", 2)]
    found = envelope(opened.folder, runs)
    assert found.motors == MOTORS + 1       # with waves, on whatever angles
    assert found.angles.tolist() == ANGLES
    assert found.edges["forward 1000", "ab"] == pytest.approx(np.quantile(waves, SHARES, axis=0))
    assert found.edges["forward 1000", "bc"] == pytest.approx(-np.quantile(waves, SHARES, axis=0)[::-1])


def test_no_waves_no_band(store):
    opened, _ = store
    assert envelope(opened.folder, [("bare", 1), ("absent", 1)]) is None


@pytest.mark.parametrize("count", [0, 1, MOST, MOST + 1, 12_345])
def test_motors_are_drawn_evenly_from_first_to_last(count):
    places = evenly_drawn(count)
    assert len(set(places)) == len(places) == min(count, MOST)
    if count:
        assert (places[0], places[-1]) == (0, count - 1)
        assert np.ptp(np.diff(places)) <= 1 if count > 1 else True
