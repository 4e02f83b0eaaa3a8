"""Budgets of the back-EMF: what each is made of, and what cancels in comparisons."""

from dataclasses import replace
from math import sqrt

import numpy as np
import pytest
from waves import Turning, Winding, capture, motor

from station.analysis.analyse import analyse_capture
from station.capture import Accuracy

NONE = Accuracy(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


def measured(accuracy, *, lag=0.0, noise=5e-3, magnet=-0.0011, winding=None, pole_pairs=4):
    taken = capture(Turning(ripple=2e-3), winding or Winding(), np.random.default_rng(5), rate=100e3, seconds=0.3,
                    noise=noise)
    channels = {name: replace(one, lag=lag) for name, one in taken.channels.items()}
    found = analyse_capture(replace(taken, accuracy=accuracy, channels=channels),
                            motor(pole_pairs, magnet_per_k=magnet))
    assert found.refused is None
    return found.measurements


def limits(accuracy, name):
    """Half widths of the limits of error in a budget."""
    return {row.source: row.u * sqrt(3) for row in measured(accuracy)[name].budget if row.kind == "B"}


@pytest.mark.parametrize(("accuracy", "source", "share"), [
    ({"gain": 1e-3}, "gain of channel v_bc", 1e-3), ({"gain_common": 2e-3}, "gain of the digitizer", 2e-3),
    ({"timebase": 1e-4}, "timebase", 1e-4), ({"temperature": 2.0}, "temperature of the motor", 0.0022)])
@pytest.mark.parametrize("name", ["back_emf_constant_fundamental.bc", "back_emf_constant_rms.bc", "flux_linkage.bc",
                                  "back_emf_constant_peak.bc"])
def test_a_constant_moves_as_its_sources(accuracy, source, share, name):
    value = measured(NONE)[name].value
    assert limits(replace(NONE, **accuracy), name) == {source: pytest.approx(share * value, rel=1e-6)}


def test_gains_of_channels_average_in_a_mean_and_what_they_share_does_not():
    one, mean = (measured(replace(NONE, gain=1e-3, gain_common=1e-3))[f"back_emf_constant_rms.{which}"]
                 for which in ("ab", "mean"))
    sizes = [sqrt(sum(row.u**2 for row in each.budget if row.source.startswith("gain of channel")))
             for each in (one, mean)]
    assert sizes[1] == pytest.approx(sizes[0] / sqrt(3), rel=1e-3)
    shared = [next(row.u for row in each.budget if row.shared == "gain of the digitizer") for each in (one, mean)]
    assert shared[1] == pytest.approx(shared[0], rel=1e-3)


@pytest.mark.parametrize("name", ["thd.ab", "harmonic_5.bc", "back_emf_spread", "back_emf_unbalance", "line_sum",
                                  "phase_angle.bc", "flat_top.ab", "pole_spread.ca"])
def test_what_all_channels_share_cancels_in_every_comparison(name):
    everything = replace(NONE, gain_common=0.1, temperature=30.0, timebase=1e-2)
    assert measured(everything)[name].u == pytest.approx(measured(NONE)[name].u, rel=1e-9)


def test_time_of_two_channels_in_a_phase_angle():
    """Source: 0.036 degrees per microsecond at 100 Hz, from skew and lag of either channel."""
    found = limits(replace(NONE, skew=3e-6, lag=4e-6), "phase_angle.ca")
    assert found == {name: pytest.approx(5 * 0.036, rel=1e-3) for name in ("time of channel v_ca",
                                                                          "time of channel v_ab")}


def test_comparisons_follow_gains_and_times_of_channels_as_trials_say():
    """Gain and time errors of the channels, drawn many times, against the rows; noise aside."""
    rng = np.random.default_rng(8)
    gains, times = 1e-3 * rng.uniform(-1, 1, (2000, 3)), 1e-2 * rng.uniform(-1, 1, (2000, 3))
    lines = np.array([1.0, 1.03, 0.98]) * np.exp(-2j * np.pi / 3 * np.arange(3))
    seen = lines * (1 + gains + 1j * times)
    turn = np.exp(2j * np.pi / 3 * np.arange(3))
    unbalance = np.abs(seen @ turn**2) / np.abs(seen @ turn)
    spread = np.abs(np.abs(seen) / np.abs(seen).mean(axis=1, keepdims=True) - 1).max(axis=1)
    accuracy = replace(NONE, gain=1e-3, skew=1e-2 / (2 * np.pi * 100))
    winding = Winding(gains=(1.0, 1.03, 0.98))
    rows = [measured(accuracy, winding=replace(winding, gains=(1.0, 1.004, 0.997)))[name].budget
            for name in ("back_emf_unbalance", "back_emf_spread")]
    for budget, values, tolerance in zip(rows, (unbalance, spread), (0.15, 0.15), strict=True):
        u = sqrt(sum(row.u**2 for row in budget if row.source.endswith("of the voltage channels")))
        assert u == pytest.approx(100 * values.std(), rel=tolerance)


def test_a_front_end_takes_off_what_its_lag_says():
    """Source: a first-order front end of 10 kHz, 15.9 us, takes 0.5 % off the fundamental's tenth at 100 Hz."""
    lag = 1 / (2 * np.pi * 10e3)
    found = measured(NONE, lag=lag)
    row = next(r for r in found["harmonic_11.ab"].budget if r.source == "loss of the front end")
    lost = sqrt(1 + 0.11**2) - sqrt(1 + 0.01**2)
    assert row.u * sqrt(3) == pytest.approx(found["harmonic_11.ab"].value * lost, rel=1e-2)
    peak = next(r for r in found["back_emf_constant_peak.ab"].budget if r.source == "loss of the front end")
    assert peak.u > 0


def test_slot_ripple_reaches_the_orders_beside_multiples_of_six_only():
    """Source: ripple r of order m has sidebands r (m ± 1) / 2m: of 0.1 % at six, 0.04 % and 0.06 % (derived)."""
    ripple = replace(NONE, slot_ripple=1e-3)
    moved = {h for h in range(2, 26) if limits(ripple, f"harmonic_{h}.ab").get("speed ripple of slot order")}
    assert moved == {5, 7, 11, 13, 17, 19, 23, 25}
    for h, limit in ((5, 0.1 * 5 / 12), (7, 0.1 * 7 / 12)):
        row = limits(ripple, f"harmonic_{h}.ab")["speed ripple of slot order"]
        assert row == pytest.approx(limit / sqrt(2), rel=1e-9)


def test_type_a_of_a_harmonic_grows_with_the_noise():
    small, large = (measured(NONE, noise=noise)["harmonic_3.ab"] for noise in (0.01, 0.03))
    noise = [next(row.u for row in each.budget if row.kind == "A") for each in (small, large)]
    assert noise[1] / noise[0] == pytest.approx(3.0, rel=0.1)
