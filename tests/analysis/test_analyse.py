"""station.analysis.analyse on captures whose truth is known exactly: values, conventions and refusals."""

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from waves import PLAIN, Turning, Winding, capture, motor

from station.analysis.analyse import analyse_capture
from station.characteristic import unit_of
from station.motor import LINES


def measured(turning=None, winding=None, *, seed=1, of=None, **more):
    turning = turning or Turning()
    one = capture(turning, winding or Winding(), np.random.default_rng(seed), **more)
    found = analyse_capture(one, of or motor(turning.pole_pairs))
    assert found.refused is None, found.refused
    return found.measurements


@cache
def moved(turning):
    """Return what a plain motor reads in this motion; several tests look at the same capture."""
    return measured(turning)


MOTIONS = [
    pytest.param(Turning(), id="steady"),
    pytest.param(Turning(ripple=5e-3), id="ripple once per revolution"),
    pytest.param(Turning(ripple=5e-3, drift=4e-3), id="ripple and drift"),
    pytest.param(Turning(odd_ripple=3e-3), id="ripple at 3.7 per revolution"),
    pytest.param(Turning(rpm=-1500, ripple=5e-3), id="reverse"),
    pytest.param(Turning(rpm=3000, pole_pairs=2, ripple=5e-3), id="two pole pairs"),
    pytest.param(Turning(rpm=900, pole_pairs=7, ripple=5e-3), id="seven pole pairs"),
]


@pytest.mark.parametrize("turning", MOTIONS)
def test_every_line_reads_its_constant_angle_and_harmonics(turning):
    found = moved(turning)
    for line in LINES:
        assert found[f"back_emf_constant_fundamental.{line}"].value == pytest.approx(10.0, rel=2e-4)
        for order in range(2, 26):
            expected = 10 * PLAIN.get(order, (0.0, 0.0))[0]
            assert found[f"harmonic_{order}.{line}"].value == pytest.approx(expected, abs=0.02)
    assert found["phase_angle.bc"].value == pytest.approx(120.0, abs=0.03)
    assert found["phase_angle.ca"].value == pytest.approx(-120.0, abs=0.03)
    assert found["phase_order"].value == 1.0
    assert found["back_emf_unbalance"].value < 0.01
    assert found["line_sum"].value < 0.01


@pytest.mark.parametrize("turning", MOTIONS)
def test_speed_is_signed_and_taken_over_whole_revolutions(turning):
    found = moved(turning)
    times = np.arange(125_000) / 250e3
    grown = np.abs(turning.angle(times) - turning.angle(0.0)) / (2 * np.pi * turning.pole_pairs)
    revolutions = np.floor(grown[-1])
    first = 0.5 * (grown[-1] - revolutions)   # in the middle of the capture
    start, end = np.interp([first, first + revolutions], grown, times)
    expected = 60 * revolutions / float(end - start)
    assert abs(found["speed"].value) == pytest.approx(expected, rel=1e-5)
    assert np.sign(found["speed"].value) == np.sign(turning.rpm)
    assert found["electrical_frequency"].value == pytest.approx(expected / 60 * turning.pole_pairs, rel=1e-5)


def test_ripple_and_drift_read_what_the_shaft_did():
    found = measured(Turning(ripple=5e-3, drift=4e-3))
    assert found["speed_ripple"].value == pytest.approx(0.5 / np.sqrt(2), rel=0.02)
    assert found["speed_drift"].value == pytest.approx(0.2, abs=0.003)   # 0.4 % per second for half a second


def test_drift_of_a_rippling_shaft_is_within_its_uncertainty():
    found = measured(Turning(ripple=5e-3))["speed_drift"]
    assert abs(found.value) < 4 * found.u


def test_the_same_motor_reads_the_same_in_both_directions():
    winding = Winding(gains=(1.0, 1.0, 1.0), harmonics={1: (10.0, 0.0), 3: (0.2, 70.0), 5: (0.4, 130.0)})
    forward = measured(Turning(rpm=1500, ripple=5e-3), winding)
    reverse = measured(Turning(rpm=-1500, ripple=5e-3), winding)
    for name in ("back_emf_constant_peak.ab", "back_emf_constant_rms.bc", "flux_linkage.ca", "harmonic_3.bc",
                 "harmonic_5.ca", "thd.ab", "flat_top.ab", "phase_angle.bc", "phase_angle.ca", "phase_order"):
        assert reverse[name].value == pytest.approx(forward[name].value, abs=0.02, rel=2e-4), name
    assert reverse["speed"].value == pytest.approx(-forward["speed"].value, rel=1e-5)


@pytest.mark.parametrize("rpm", [1500, -1500])
def test_exchanged_leads_keep_amplitudes_and_turn_the_order(rpm):
    found = measured(Turning(rpm=rpm), leads="bac")
    assert found["phase_order"].value == -1.0
    assert found["phase_angle.bc"].value == pytest.approx(-120.0, abs=0.01)
    for line in LINES:
        assert found[f"back_emf_constant_fundamental.{line}"].value == pytest.approx(10.0, rel=2e-4)
    assert found["speed"].value == pytest.approx(rpm, rel=1e-5)   # the drive says which way


@pytest.mark.parametrize("rpm", [1500, -1500])
def test_declared_skew_and_lag_leave_no_trace(rpm):
    delays = ((0.0, 5e-6), (3.33e-6, 0.0), (6.66e-6, 2e-6))
    found = measured(Turning(rpm=rpm), delays=delays)
    assert found["phase_angle.bc"].value == pytest.approx(120.0, abs=1e-3)
    assert found["phase_angle.ca"].value == pytest.approx(-120.0, abs=1e-3)


def test_offset_is_reported_and_moves_nothing_else():
    found = measured(Turning(ripple=5e-3), offsets=(0.2, 0.0, -0.1))
    for line, offset in zip(LINES, (0.2, 0.0, -0.1), strict=True):
        assert found[f"back_emf_offset.{line}"].value == pytest.approx(offset, abs=1e-3)
        assert found[f"back_emf_constant_fundamental.{line}"].value == pytest.approx(10.0, rel=2e-4)
    assert found["phase_angle.bc"].value == pytest.approx(120.0, abs=1e-3)


@pytest.mark.parametrize("pole_pairs", [1, 2, 3, 4])
def test_an_offset_does_not_pass_for_speed_ripple(pole_pairs):
    turning = Turning(rpm=6000 / pole_pairs if pole_pairs > 1 else 2500, pole_pairs=pole_pairs)
    found = measured(turning, Winding(harmonics={1: (4.0, 0.0)}), offsets=(0.2, 0.0, -0.1))
    assert found["back_emf_offset.ab"].value == pytest.approx(0.2, abs=1e-3)
    assert found["harmonic_2.ab"].value < 0.02


def test_magnet_temperature_is_taken_out():
    found = measured(of=motor(magnet_per_k=-0.0011), temperature=35.0)
    assert found["back_emf_constant_fundamental.ab"].value == pytest.approx(10.0 / (1 - 0.0011 * 15), rel=2e-4)
    assert found["thd.ab"].value == pytest.approx(measured()["thd.ab"].value, abs=1e-3)


def test_a_weak_pole_pair_widens_the_spread():
    found = measured(poles=[1, 1, 0.9, 0.9, 1, 1, 1, 1])
    for line in LINES:   # one cycle in four at 0.9: 0.1 of the mean 0.975; the track takes part of it for motion
        assert found[f"pole_spread.{line}"].value == pytest.approx(10.3, abs=1.7)
    assert measured(Turning(ripple=5e-3, drift=4e-3))["pole_spread.bc"].value < 0.02


def trapezoid(angle):
    """Line-to-line wave, V s/rad, of phase trapezoids with a top of 0.05 over 120 degrees."""
    def phase(theta):
        turned = (np.rad2deg(theta) + 30.0) % 360.0   # rising zero at 30 degrees of the ramp
        return np.interp(turned, [0, 60, 180, 240, 360], [-1, 1, 1, -1, -1])
    # a minus b leads a by 30 degrees, so a is set back by 30
    lead = angle - np.pi / 6
    return 0.05 * (phase(lead) - phase(lead - 2 * np.pi / 3))


def test_ideal_trapezoid_has_its_closed_form_ratios():
    """Source: Fourier series of the trapezoid; sqrt(5)/3, 2/3, 6 sqrt(3)/pi^2, flat 60 degrees."""
    found = measured(Turning(ripple=3e-3), Winding(shape=trapezoid), noise=2e-3)
    krpm = 1000 * 2 * np.pi / 60
    top = 0.1 * krpm
    assert found["back_emf_constant_fundamental.ab"].value == pytest.approx(1.052960 * top, rel=2e-4)
    assert found["back_emf_constant_rms.ab"].value == pytest.approx(np.sqrt(5) / 3 * top, rel=2e-4)
    assert found["flux_linkage.ab"].value == pytest.approx(
        1e3 * 2 / 3 * 0.1 * np.pi / (2 * 4), rel=5e-4)          # mean / 4f, f = 4 w / 2 pi
    assert found["harmonic_5.ab"].value == pytest.approx(4.0, abs=0.01)       # 0.084237 / 2.105921
    assert found["harmonic_7.ab"].value == pytest.approx(2.0408, abs=0.01)
    assert found["harmonic_3.ab"].value < 0.01
    assert found["thd.ab"].value == pytest.approx(4.634, abs=0.01)            # of 4.6381 over all orders
    assert found["back_emf_constant_peak.ab"].value == pytest.approx(top, rel=5e-3)  # 25 orders ring a little
    assert found["flat_top.ab"].value == pytest.approx(60 + 2 * 0.05 * 60, abs=2.0)  # the ramp is 60 degrees


def test_every_measurement_has_its_unit_uncertainty_and_budget():
    for name, one in measured().items():
        assert one.name == name
        assert one.unit == unit_of(name)
        assert np.isfinite(one.value)
        assert one.u == pytest.approx(np.sqrt(sum(row.u**2 for row in one.budget)))
        assert one.u > 0 or name in {"phase_order", "bad_samples"}


def test_ratios_do_not_inherit_the_common_gain():
    found = measured()
    shared = {name for name, one in found.items() if any(row.shared == "gain of the digitizer" for row in one.budget)}
    assert "back_emf_constant_peak.mean" in shared
    assert not {n for n in shared if n.startswith(("thd", "harmonic", "phase", "back_emf_unb", "back_emf_spread"))}


@pytest.fixture(scope="module")
def trials():
    """Return the same motor, captured with other noise each time: only type A can move its values."""
    return [measured(Turning(ripple=5e-3), seed=seed, noise=0.05, seconds=0.2, rate=100e3) for seed in range(24)]


@pytest.mark.parametrize("name", [
    "speed", "electrical_frequency", "back_emf_constant_fundamental.ab", "back_emf_constant_peak.bc",
    "back_emf_constant_rms.ca", "flux_linkage.ab", "phase_angle.bc", "harmonic_5.ab", "thd.ab", "flat_top.ca",
    "back_emf_offset.ab"])
def test_scatter_is_what_type_a_says(trials, name):
    values = np.array([trial[name].value for trial in trials])
    stated = np.median([np.sqrt(sum(row.u**2 for row in trial[name].budget if row.kind == "A")) for trial in trials])
    assert 0.55 < values.std(ddof=1) / stated < 1.6     # 24 trials know a spread to 15 %


def test_the_constant_reaches_the_bound(trials):
    """Amplitude bound: sigma sqrt(2 / N), N samples of one line. Source: Rife & Boorstyn 1974, confirmed by trial."""
    values = np.array([trial["back_emf_constant_fundamental.ab"].value for trial in trials])
    bound = 0.05 * np.sqrt(2 / 20_000) / 1.5            # V, over 1.5 krpm
    assert 0.6 < values.std(ddof=1) / bound < 1.5
    assert abs(values.mean() - 10.0) < 4 * bound / np.sqrt(24) + 1e-4


@settings(max_examples=8, deadline=None)
@given(start=st.floats(0, 360), rpm=st.floats(800, 2100), turned=st.booleans())
def test_neither_start_angle_nor_speed_nor_direction_matters(start, rpm, turned):
    found = measured(Turning(rpm=-rpm if turned else rpm, start_deg=start, ripple=3e-3), rate=100e3)
    assert found["back_emf_constant_fundamental.bc"].value == pytest.approx(10.0, rel=2e-4)
    assert found["phase_angle.bc"].value == pytest.approx(120.0, abs=0.03)
    assert found["harmonic_5.ab"].value == pytest.approx(4.0, abs=0.02)


def test_plot_shows_one_closed_revolution():
    one = analyse_capture(capture(Turning(), Winding(), np.random.default_rng(1)), motor())
    assert one.plot.angle_deg[0] == 0.0
    assert one.plot.angle_deg[-1] == pytest.approx(360.0)
    wave = one.plot.volts_per_krpm["ab"]
    assert wave[0] == pytest.approx(wave[-1])
    assert max(wave) == pytest.approx(one.measurements["back_emf_constant_peak.ab"].value, rel=1e-3)
