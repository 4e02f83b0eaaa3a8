"""station.analysis.flux: gains of half cycles that no ripple can change, and two ways to one flux."""

from dataclasses import replace

import numpy as np
import pytest
from waves import Turning, Winding, capture, motor

from station.analysis.angle_track import first_motion, track_waves
from station.analysis.back_emf import back_emf
from station.analysis.flux import half_cycle_flux, refuse_disturbed, refuse_flux
from station.analysis.gate import expected_frequency, find_tone
from station.analysis.line_voltages import read_lines


def fluxes(turning, winding=None, **more):
    one = capture(turning, winding or Winding(), np.random.default_rng(5), **more)
    lines = read_lines(one, expected_frequency(one, motor(turning.pole_pairs)))
    tone = find_tone(lines, one, motor(turning.pole_pairs))
    tracked = track_waves(lines, first_motion(lines, tone, turning.pole_pairs)[0], turning.pole_pairs, 25)
    emf, track = back_emf(one, lines, tracked, tone.direction, turning.pole_pairs, 1.0)
    return half_cycle_flux(lines, track, emf, turning.pole_pairs), emf


def test_gains_of_poles_are_those_of_the_rotor_whatever_the_speed_does():
    """One cycle in four at 0.9: 0.1 of the mean 0.975. A ripple of 2 % leaves that alone."""
    poles = [1, 1, 0.9, 0.9, 1, 1, 1, 1]
    for turning in (Turning(), Turning(ripple=0.02), Turning(rpm=-1500, odd_ripple=5e-3)):
        found, _emf = fluxes(turning, poles=poles, noise=1e-3)
        pattern = found.gains.mean(axis=1)                       # (3, 2p)
        spread = (pattern.max(axis=1) - pattern.min(axis=1)) / pattern.mean(axis=1)
        assert spread == pytest.approx(0.1 / 0.975, abs=0.004)


def test_the_uncertainty_of_a_gain_is_what_its_repeats_scatter():
    found, _emf = fluxes(Turning(ripple=5e-3), noise=0.1)
    scatter = found.gains.std(axis=1, ddof=1).mean(axis=1)
    assert scatter == pytest.approx(found.gain_u, rel=0.25)


@pytest.mark.parametrize("pole_pairs", [1, 4, 9])
def test_summed_volts_and_fitted_waves_agree(pole_pairs):
    found, emf = fluxes(Turning(pole_pairs=pole_pairs, rpm=6000 / pole_pairs, ripple=3e-3),
                        Winding(gains=(0.4,) * 3), noise=1e-3)
    assert refuse_flux(found, emf, pole_pairs, 1.0) is None
    exact = 2 * emf.amplitude[:, 0] / pole_pairs                 # of the fundamental, over half a turn
    assert found.swing == pytest.approx(exact, rel=0.02)         # the fifth order adds 0.04 / 5
    assert refuse_disturbed(found) is None


def test_a_disagreement_is_refused_with_its_size():
    found, emf = fluxes(Turning())
    refused = refuse_flux(replace(found, swing=found.swing * np.array([1.0, 1.01, 1.0])), emf, 4, 1.0)
    assert refused is not None
    assert refused.code == "flux_disagrees"
    assert "v_bc" in refused.text
    assert "+1.0" in refused.text
