"""Six-step torque from shapes whose torque is known."""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from hall_signals import LAYOUTS, Rotor, capture_of, good_leads, lead, motor_type

from station.analysis.commutation import commutated_torque, commutation_table
from station.analysis.hall import analyse_hall

KE = 0.09549297          # V s/rad, 10 V/krpm line-to-line peak


@dataclass(frozen=True)
class Wave:
    """Harmonics of three lines, as sines of the rotor angle; orders 1, 2, 3 ..."""

    amplitude: np.ndarray
    phase: np.ndarray
    dof: int = 1000

    @property
    def amplitude_u(self):
        return 1e-5 * self.amplitude[0].max() * np.ones(self.amplitude.shape[1])


def waves(line_harmonics):
    """Lines bc and ca lag ab by 120 and 240 degrees at order 1."""
    count = max(line_harmonics)
    amplitude, phase = np.zeros((3, count)), np.zeros((3, count))
    for order, (size, angle) in line_harmonics.items():
        for line in range(3):
            amplitude[line, order - 1] = size
            phase[line, order - 1] = angle - order * line * 2 * np.pi / 3
    return Wave(amplitude, phase)


SINE = waves({1: (KE, 0.0)})


def trapezoid(orders=101):
    """Line-to-line of phase trapezoids flat for 120 degrees: flat for 60, peak KE.

    Source: Fourier series (4/(pi n)) sin(n r)/(n r), r = 30 degrees, of each phase (derived).
    """
    harmonics = {}
    for n in range(1, orders + 1, 2):
        size = 4 / (np.pi * n) * np.sin(n * np.pi / 6) / (n * np.pi / 6) / 2
        line = size * (1 - np.exp(-2j * np.pi * n / 3)) * np.exp(-1j * n * np.pi / 6)   # e_a - e_b, ab rising at 0
        if abs(line) > 1e-12:
            harmonics[n] = (KE * abs(line), np.angle(line))
    return waves(harmonics)


def torque(emf, leads=None, spacing=120, frequency=100.0):
    rotor = Rotor(frequency)
    capture = capture_of(rotor, leads or good_leads(spacing), np.random.default_rng(3), noise=2e-3)
    kind = motor_type(spacing)
    found = commutated_torque(emf, analyse_hall(capture, kind, rotor), kind)
    return {name.removeprefix("commutated_torque_"): each for name, each in found.items()}


@pytest.mark.parametrize("spacing", [60, 120])
@pytest.mark.parametrize("frequency", [100.0, -100.0])
def test_sine_gives_three_over_pi_with_14_03_percent(spacing, frequency):
    """Source: six-step torque of a sine, mean 3/pi of the peak, ripple 14.030 % of the mean (derived)."""
    found = torque(SINE, spacing=spacing, frequency=frequency)
    assert found["constant"].value == pytest.approx(0.09118907, rel=1e-4)
    assert found["ripple"].value == pytest.approx(14.030, abs=0.05)
    assert found["constant"].u > 0
    assert found["ripple"].u > 0


def test_trapezoid_flat_for_60_degrees_has_no_ripple():
    """Source: ripple-free if and only if the line-to-line flat is at least 60 degrees (derived)."""
    found = torque(trapezoid())
    assert found["constant"].value == pytest.approx(KE, rel=1e-3)
    assert found["ripple"].value < 1.5      # the corner of a series of 101 orders


@pytest.mark.parametrize(("turned", "ripple"), [(5.0, 18.08), (10.0, 23.40)])
def test_turned_board_costs_mean_and_ripple(turned, ripple):
    """Source: mean times cos(d); ripple over peak 1 - cos(30 + d) (derived)."""
    leads = {name: lead(rise + turned) for name, rise in zip("abc", (0, 120, 240), strict=True)}
    found = torque(SINE, leads)
    mean = 0.09118907 * np.cos(np.deg2rad(turned))
    assert found["constant"].value == pytest.approx(mean, rel=2e-4)
    assert found["ripple"].value == pytest.approx(ripple * KE / mean, abs=0.1)


def test_exchanged_hall_leads_give_far_less_torque():
    found = torque(SINE, good_leads() | {"a": lead(240), "c": lead(0)})
    assert abs(found["constant"].value) < 0.5 * 0.0912


def test_forbidden_codes_drive_nothing():
    found = torque(SINE, good_leads() | {"b": lead(300)})
    assert found["constant"].value < 0.7 * 0.0912
    assert found["ripple"].value > 100


def test_stuck_sensor_has_no_torque_to_report():
    assert torque(SINE, good_leads() | {"b": 4.9}) == {}


def test_table_is_the_published_one_turned_to_this_layout():
    """Source: a published six-step table, 100: B+ C-, 110: B+ A-, 010: C+ A-, 011: C+ B-, 001: A+ B-, 101: A+ C-.

    There sensor a is high where e_bc > 0, so its rise lies at the rising zero of v_bc, 120 degrees.
    """
    layout = replace(LAYOUTS[120], rise_deg=(120.0, 240.0, 0.0))
    pairs = {(0, 1): "A+ B-", (0, -1): "B+ A-", (1, 1): "B+ C-", (1, -1): "C+ B-", (2, 1): "C+ A-", (2, -1): "A+ C-"}
    table = {"".join(map(str, code)): pairs[pair] for code, pair in commutation_table(layout).items()}
    assert table == {"100": "B+ C-", "110": "B+ A-", "010": "C+ A-", "011": "C+ B-", "001": "A+ B-", "101": "A+ C-"}


def test_ripple_follows_the_gains_of_the_lines_that_hold_crest_and_trough():
    """With sure edges, channels unlike by a limit a leave sqrt(2) a between two lines."""
    found = torque(SINE)
    rows = {row.source: row.u * np.sqrt(3) for row in found["ripple"].budget}
    assert rows["gains of the voltage channels"] == pytest.approx(100 * np.sqrt(2) * 5e-4)
