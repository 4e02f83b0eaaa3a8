"""Star and delta windings, sound and faulty, solved live by ngspice and measured by the analysis.

Source: ngspice (Debian's package) solves the netlists of circuits.py; the expected values are closed forms, derived
here from phasors. Both must agree with what the analysis says of the terminal voltages.
"""

from dataclasses import replace

import numpy as np
import pytest
from circuits import Coil, ShortedCoil, Timing, TrapezoidCoil, delta, lines_of, meters, resistances, star, transient
from machines import analyse_file, capture_of, motor_type, values_of

from station.analysis.findings import find_motor_causes
from station.analysis.phase_deviation import deviation_of_phase
from station.analysis.winding import winding_resistance
from station.units import RPM, VOLT_PER_KRPM

AT = Timing()
ORDERS = {1: 10.0, 3: 2.0, 5: 1.0, 7: 0.5}
SOUND = Coil(ORDERS)
WEAK = replace(SOUND, turns=0.9)
LINES = ("ab", "bc", "ca")


def _circuit(folder, build, coils, more=None, timing=AT):
    """Solution of windings with channels across their leads."""
    return transient([*build(coils, timing), *(meters() if more is None else more)], timing, folder)


def _analyse(folder, build, coils, more=None, timing=AT):
    lines = lines_of(_circuit(folder, build, coils, more, timing))
    return analyse_file(folder, capture_of(lines, timing.rpm, interval=timing.interval), motor_type(4, build.__name__))


def _volts(value, line, order=1, timing=AT):
    """Peak of an order between two leads, from the constant and its percentage."""
    volts = value[f"back_emf_constant_fundamental.{line}"] * VOLT_PER_KRPM * timing.rpm * RPM
    return volts if order == 1 else volts * value[f"harmonic_{order}.{line}"] / 100


def _phasors(coils, order=1, timing=AT):
    """EMF (3,) V and impedance (3,) ohm that each winding shows at its ends; sin is real."""
    w = 2 * np.pi * timing.frequency * order
    emf, ohm = [], []
    for k, coil in enumerate(coils):
        volts = coil.turns * coil.volts.get(order, 0.0) * np.exp(-1j * order * np.deg2rad(120 * k + coil.turned_deg))
        share = coil.share if isinstance(coil, ShortedCoil) else 0.0
        mutual = 1j * w * share * (1 - share) * coil.henry * getattr(coil, "coupling", 0.0)
        loop = share * coil.ohm + 1j * w * share**2 * coil.henry if share else 1.0
        emf.append((1 - share) * volts - mutual * share * volts / loop)
        ohm.append((1 - share) * coil.ohm + 1j * w * (1 - share)**2 * coil.henry - mutual**2 / loop)
    return np.array(emf), np.array(ohm)


def _open_lines(build, coils, order=1):
    """Line-to-line phasors (3,) V with open leads: differences in star; in delta less the circulating drop."""
    emf, ohm = _phasors(coils, order)
    return emf - np.roll(emf, -1) if build is star else emf - ohm * emf.sum() / ohm.sum()


@pytest.mark.parametrize("build", [star, delta])
@pytest.mark.parametrize("coils", [
    pytest.param([SOUND] * 3, id="sound"),
    pytest.param([WEAK, SOUND, SOUND], id="weak"),
    pytest.param([SOUND, replace(SOUND, turned_deg=4.0), SOUND], id="turned"),
    pytest.param([SOUND, SOUND, ShortedCoil(ORDERS)], id="shorted"),
    pytest.param([ShortedCoil(ORDERS, share=0.03), SOUND, SOUND], id="few turns shorted"),
])
def test_orders_at_the_leads(build, coils, tmp_path):
    """Fundamental and orders 3, 5, 7 of each line, and the angles between the lines."""
    value = values_of(_analyse(tmp_path, build, coils))
    for order in ORDERS:
        expected = np.abs(_open_lines(build, coils, order))
        seen = [_volts(value, line, order) for line in LINES]
        assert seen == pytest.approx(list(expected), rel=3e-4, abs=2e-3), order
    first = _open_lines(build, coils)
    for line, phasor in (("bc", first[1]), ("ca", first[2])):
        lag = np.rad2deg(np.angle(first[0] / phasor))
        assert value[f"phase_angle.{line}"] == pytest.approx(lag, abs=0.02)


def test_triplens_circulate_in_a_delta_and_move_the_star_point(tmp_path):
    """2 V of third order: 3 x 2 V over 3 windings in the ring, 2 V at the star point, nothing between leads."""
    ring = _circuit(tmp_path, delta, [SOUND] * 3)["i(lwa)"]
    spectrum = 2 * np.abs(np.fft.rfft(ring)) / ring.size
    assert spectrum[3 * AT.periods] == pytest.approx(2 / abs(0.4 + 1j * 2 * np.pi * 1200 * 0.3e-3), rel=1e-3)
    solved = _circuit(tmp_path, star, [SOUND] * 3)
    shift = solved["n"] - (solved["a"] + solved["b"] + solved["c"]) / 3
    assert 2 * np.abs(np.fft.rfft(shift))[3 * AT.periods] / shift.size == pytest.approx(2.0, rel=1e-3)
    for build in (star, delta):
        value = values_of(_analyse(tmp_path, build, [SOUND] * 3))
        assert max(value[f"harmonic_3.{line}"] for line in LINES) < 0.01


@pytest.mark.parametrize("build", [star, delta])
def test_a_trapezoid_loses_its_triplens(build, tmp_path):
    """Ramps of 60 degrees: b_n = 4/(pi n) sin(n r)/(n r), times sqrt(3) in star, for the orders that are left."""
    value = values_of(_analyse(tmp_path, build, [TrapezoidCoil()] * 3))
    ramp, scale = np.pi / 6, 3**0.5 if build is star else 1.0
    for order in (1, 5, 7, 11, 13):
        expected = scale * 10 * 4 / np.pi * abs(np.sin(order * ramp)) / (order**2 * ramp)
        assert _volts(value, "bc", order) == pytest.approx(expected, rel=2e-3, abs=2e-3)
    assert max(value[f"harmonic_{order}.{line}"] for order in (3, 9, 15) for line in LINES) < 0.02
    if build is star:  # 25 orders of the corners overshoot the ideal 20 V by 0.42 %; no winding has such corners
        angle, orders = np.linspace(0, np.pi, 10001), [n for n in range(1, 26, 2) if n % 3]
        line = sum(scale * 40 / np.pi * np.sin(n * ramp) / (n**2 * ramp) * (-1)**((n + 1) // 6) * np.sin(n * angle)
                   for n in orders)
        peak = value["back_emf_constant_peak.ab"] * VOLT_PER_KRPM * AT.rpm * RPM
        assert peak == pytest.approx(line.max(), rel=5e-4)
        assert peak == pytest.approx(20.0, rel=5e-3)


@pytest.mark.parametrize("load", [(1000.0, 1000.0, 1000.0), (50.0, 10e6, 10e6)])
def test_loaded_lines(load, tmp_path):
    """What channels of low resistance, or a leaky pair, take from the lines of a star."""
    coils = [Coil({1: 10.0})] * 3
    emf, ohm = _phasors(coils)
    admittance = np.array([[1 / load[0] + 1 / load[2], -1 / load[0], -1 / load[2]],
                           [-1 / load[0], 1 / load[0] + 1 / load[1], -1 / load[1]],
                           [-1 / load[2], -1 / load[1], 1 / load[1] + 1 / load[2]]])
    leads = np.linalg.solve(np.eye(3) + np.diag(ohm) @ admittance, emf)
    value = values_of(_analyse(tmp_path, star, coils, meters(load)))
    seen = [_volts(value, line) for line in LINES]
    assert seen == pytest.approx(list(np.abs(leads - np.roll(leads, -1))), rel=3e-4)
    assert min(seen) < 10 * 3**0.5 * 0.9995


def _rest(build, coils, folder):
    """Winding resistance as an ohmmeter finds it at 20 degrees."""
    return winding_resistance(resistances(build, coils, folder), 20.0, motor_type(4, build.__name__), 1e-4, 1e-5, 0.5)


@pytest.mark.parametrize(("build", "factor"), [(star, 2.0), (delta, 2 / 3)])
def test_resistance_between_leads(build, factor, tmp_path):
    found = _rest(build, [SOUND] * 3, tmp_path)
    for line in LINES:
        assert found[f"winding_resistance.{line}"].value == pytest.approx(factor * 0.4, rel=1e-5)
    assert found["winding_resistance_spread"].value < 1e-3


def test_a_broken_phase_of_a_star_is_refused(tmp_path):
    """No current can flow: the lines at the broken lead float, the third has its voltage."""
    coils = [SOUND, replace(SOUND, ohm=1e12), SOUND]
    found = _analyse(tmp_path, star, coils)
    assert found.refused is not None
    assert found.refused.code == "open_phase"
    assert "Lead b " in found.refused.text


def test_a_broken_phase_of_a_delta_shows_in_its_resistance(tmp_path):
    """The open delta still has all three voltages; 2 R across the open phase, R across the others."""
    coils = [SOUND, replace(SOUND, ohm=1e12), SOUND]
    found = _analyse(tmp_path, delta, coils)
    assert values_of(found)["back_emf_unbalance"] < 0.05
    rest = _rest(delta, coils, tmp_path)
    assert [rest[f"winding_resistance.{line}"].value for line in LINES] == pytest.approx([0.4, 0.8, 0.4], rel=1e-5)
    causes = find_motor_causes([found], rest, motor_type(4, "delta"))
    assert [cause.code for cause in causes] == ["open_phase"]
    assert "across bc" in causes[0].text


@pytest.mark.parametrize(("build", "phase"), [(star, "C"), (delta, "ca")])
@pytest.mark.parametrize("rpm", [1500.0, 6000.0])
@pytest.mark.parametrize("share", [0.06, 0.1, 0.3])
def test_shorted_turns_are_found(build, phase, rpm, share, tmp_path):
    """Turns of one winding shorted, with the current that they drive, which turns its voltage at speed."""
    coils, timing = [SOUND, SOUND, ShortedCoil(ORDERS, share=share)], Timing(rpm=rpm)
    causes = find_motor_causes([_analyse(tmp_path, build, coils, timing=timing)], _rest(build, coils, tmp_path),
                               motor_type(4, build.__name__))
    assert [cause.code for cause in causes] == ["shorted_turns"]
    assert f"turns of phase {phase} " in causes[0].text


@pytest.mark.parametrize("rpm", [1500.0, 6000.0])
def test_the_voltage_that_shorted_turns_leave(rpm, tmp_path):
    """Size and phase of the faulty winding's voltage, from three magnitudes."""
    coils, timing = [SOUND, ShortedCoil(ORDERS), SOUND], Timing(rpm=rpm)
    value = values_of(_analyse(tmp_path, star, coils, timing=timing))
    volts = {line: value[f"back_emf_constant_fundamental.{line}"] for line in LINES}
    emf, _ = _phasors(coils, timing=timing)
    expected = 1 - emf[1] / (10 * np.exp(-2j * np.pi / 3))
    found = deviation_of_phase(volts, 1, "star")
    assert (found.real, found.imag) == pytest.approx((expected.real, expected.imag), abs=2e-3)


SHORTED = Coil({1: 0.0}, ohm=1e-4, henry=1e-9)
BACKWARD, HALF = replace(SOUND, turns=-1.0), replace(SOUND, turns=0.5)


@pytest.mark.parametrize(("build", "coils", "code", "names"), [
    pytest.param(star, [SOUND, BACKWARD, SOUND], "reversed_phase", "phase B ", id="reversed, star"),
    pytest.param(delta, [BACKWARD, SOUND, SOUND], "reversed_phase", "phase ab ", id="reversed, delta"),
    pytest.param(star, [SOUND, SHORTED, SOUND], "shorted_phase", "phase B ", id="shorted from end to end"),
    pytest.param(star, [SOUND, replace(SOUND, ohm=0.5), SOUND], "joint_resistance", "lead B", id="bad joint"),
    pytest.param(star, [SOUND, SOUND, HALF], "coil_group_reversed", "phase C ", id="reversed coil"),
])
def test_the_faulty_phase_is_named(build, coils, code, names, tmp_path):
    """One cause, with its phase, from the voltages and resistances of the same circuit."""
    found = _analyse(tmp_path, build, coils)
    assert values_of(found)["phase_order"] == (-1 if code == "reversed_phase" else 1)
    causes = find_motor_causes([found], _rest(build, coils, tmp_path), motor_type(4, build.__name__))
    assert [cause.code for cause in causes] == [code]
    assert names in causes[0].text


@pytest.mark.parametrize(("build", "coils", "load", "leads"), [
    pytest.param(star, [SOUND] * 3, (1e-3, 1e7, 1e7), "Leads a and b ", id="leads that touch"),
    pytest.param(delta, [SOUND, SHORTED, SOUND], (1e7,) * 3, "Leads b and c ", id="shorted phase of a delta"),
])
def test_leads_at_one_voltage_are_refused(build, coils, load, leads, tmp_path):
    """Nothing is left between two leads: the other two lines are equal and opposite."""
    found = _analyse(tmp_path, build, coils, meters(load))
    assert found.refused is not None
    assert found.refused.code == "shorted_leads"
    assert leads in found.refused.text
    assert not found.measurements


@pytest.mark.parametrize(("build", "coils", "load"), [
    pytest.param(star, [SOUND] * 3, (1e-3,) * 3, id="shorted star"),
    pytest.param(delta, [SOUND] * 3, (1e-3,) * 3, id="shorted delta"),
    pytest.param(star, [SOUND, *[replace(SOUND, ohm=1e10)] * 2], (1e7,) * 3, id="two phases open"),
])
@pytest.mark.parametrize("rpm", [6000.0, 1500.0])
def test_what_shorts_and_leaks_leave_is_no_back_emf(build, coils, load, rpm, tmp_path):
    """Millivolts of the right frequency and order, which a fit alone would take for a motor."""
    found = _analyse(tmp_path, build, coils, meters(load), timing=Timing(rpm=rpm))
    assert found.refused is not None
    assert found.refused.code == "no_emf"
    assert "idle at" in found.refused.text
    assert not found.measurements
    assert [each.code for each in find_motor_causes([found], {}, motor_type(4, build.__name__))] == ["no_back_emf"]


@pytest.mark.parametrize("build", [star, delta])
def test_missing_turns_unbalance_star_and_delta_alike(build, tmp_path):
    """A share x of the turns of one winding missing: (x/3) / (1 - x/3), 3.45 % at a tenth."""
    value = values_of(_analyse(tmp_path, build, [WEAK, SOUND, SOUND]))
    assert value["back_emf_unbalance"] == pytest.approx(100 / 29, abs=0.01)


def test_another_pole_count_is_refused(tmp_path):
    """Five pole pairs taken for four would show 7500 r/min at 6000."""
    found = _analyse(tmp_path, star, [SOUND] * 3, timing=Timing(pole_pairs=5))
    assert found.refused is not None
    assert found.refused.code == "speed_disagrees"
    assert "5.00 pole pairs" in found.refused.text
    assert not found.measurements
