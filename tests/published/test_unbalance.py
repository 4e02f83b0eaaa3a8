"""Symmetrical components and unbalance against published worked examples."""

import numpy as np
import pytest

from station.analysis.unbalance import (
    largest_deviation,
    negative_over_positive,
    symmetrical_components,
    unbalance_of_magnitudes,
)


def _phasor(size, degrees):
    return size * np.exp(1j * np.deg2rad(degrees))


def test_a_published_set_with_the_other_order():
    """Source: SYMCOM.TXT in SYMCOMP.ZIP, cd.textfiles.com/hhot: there b leads a, so its positive is our negative."""
    zero, positive, negative = symmetrical_components(
        np.array([_phasor(147, 13), _phasor(154, 129), _phasor(150, 237)]))
    for found, size, degrees in ((zero, 14.824, 142.704), (positive, 10.135, 49.004), (negative, 149.285, 6.321)):
        assert abs(found) == pytest.approx(size, abs=6e-4)
        assert np.rad2deg(np.angle(found)) == pytest.approx(degrees, abs=6e-4)


def test_open_conductor():
    """Source: the open-conductor example of Stevenson and Grainger, from memory: 5.78 at -30 and 30 degrees."""
    zero, positive, negative = symmetrical_components(np.array([_phasor(10, 0), _phasor(10, 180), 0]))
    assert abs(zero) == pytest.approx(0, abs=1e-12)
    assert abs(positive) == pytest.approx(5.7735, abs=1e-4)
    assert np.rad2deg(np.angle(positive)) == pytest.approx(-30)
    assert np.rad2deg(np.angle(negative)) == pytest.approx(30)


@pytest.mark.parametrize(("volts", "percent", "tolerance"), [
    pytest.param((462, 463, 455), 1.1, 0.05, id="eng-tips.com post 8667161"),
    pytest.param((480, 476, 472), 0.84, 0.005, id="industrialmonitordirect.com NEMA MG-1 page"),
    pytest.param((460, 467, 450), 1.96, 0.005, id="tools.gera.services ac-voltage-imbalance"),
    pytest.param((203, 210, 212), 2.5, 0.1, id="manualshelf.com 201-575-au, page 5"),
])
def test_largest_deviation(volts, percent, tolerance):
    assert 100 * largest_deviation(volts) == pytest.approx(percent, abs=tolerance)


@pytest.mark.parametrize(("nema_percent", "vuf_percent"), [(2, 2.3), (5, 5.8), (10, 11.6), (20, 23.8)])
def test_upper_ends_of_the_published_range(nema_percent, vuf_percent):
    """Source: Pillay and Manyage, Definitions of Voltage Unbalance, scribd.com/doc/152026163."""
    volts = 480 * np.array([1 + nema_percent / 100, 1, 1 - nema_percent / 100])
    assert 100 * unbalance_of_magnitudes(volts) == pytest.approx(vuf_percent, abs=0.05)


def test_magnitudes_and_phasors_agree_on_a_closed_triangle():
    rng = np.random.default_rng(5)
    phases = np.exp(1j * np.deg2rad([0, -120, 120])) * rng.uniform(0.9, 1.1, 3)
    lines = phases - np.roll(phases, -1)
    assert unbalance_of_magnitudes(np.abs(lines)) == pytest.approx(negative_over_positive(lines), rel=1e-9)
