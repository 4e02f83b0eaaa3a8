"""Machines turned by motulator's own mechanics, open-circuit, through a capture file and the analysis.

Source: motulator 0.5, `SynchronousMachine`, `StiffMechanicalSystem`, `TwoMassMechanicalSystem` and `Model`: their
state equations, integrated in time. Nobody here wrote a back-EMF or an equation of motion for this.
"""

from dataclasses import dataclass

import numpy as np
import pytest
from machines import analyse_file, capture_of, motor_type, values_of
from motulator.common.model import Model
from motulator.common.utils import complex2abc
from motulator.drive.model import StiffMechanicalSystem, SynchronousMachine, TwoMassMechanicalSystem
from motulator.drive.utils import SynchronousMachinePars, TwoMassMechanicalSystemPars
from scipy.integrate import solve_ivp

from station.units import RPM

INTERVAL = 20e-6


class BackDriven(Model):
    """A machine with open terminals on a shaft, put together as motulator puts its drives together."""

    def __init__(self, machine, mechanics):
        super().__init__()
        self.machine, self.mechanics = machine, mechanics
        self.subsystems = [machine, mechanics]

    def interconnect(self, _):
        """The voltage that holds the flux still, and so the current at zero, is what open terminals show."""
        machine, mechanics = self.machine, self.mechanics
        machine.inp.w_M, machine.inp.u_ss = mechanics.out.w_M, 0j
        machine.inp.u_ss = -machine.rhs()[0] * machine.state.exp_j_theta_m
        mechanics.inp.tau_M = machine.out.tau_M


@dataclass(frozen=True)
class Turned:
    """Phase voltages (3, n) V and mechanical speed (n,) rad/s of one run."""

    phases: np.ndarray
    speed: np.ndarray

    def capture(self, order="abc"):
        """Capture with the motor's leads on a, b, c in `order`."""
        leads = self.phases[["abc".index(lead) for lead in order]]
        return capture_of(leads - np.roll(leads, -1, axis=0), self.speed.mean() / RPM, interval=INTERVAL)


def _turn(machine, mechanics, rpm, seconds):
    """Integrate from `rpm` on, closely enough that no current builds up."""
    mechanics.state.w_M = rpm * RPM
    if hasattr(mechanics.state, "w_L"):
        mechanics.state.w_L = rpm * RPM
    model = BackDriven(machine, mechanics)
    times = INTERVAL * np.arange(round(seconds / INTERVAL))
    solved = solve_ivp(model.rhs, (0, times[-1]), np.array(model.get_initial_values(), dtype=complex), "DOP853",
                       times, rtol=1e-9, atol=1e-10)
    assert solved.success
    model.set_states(list(solved.y))
    model.set_outputs(times)
    model.interconnect(times)
    assert np.abs(machine.state.psi_s - machine.par.psi_f).max() < 1e-5 * machine.par.psi_f  # no current
    return Turned(np.asarray(complex2abc(machine.inp.u_ss)), np.asarray(mechanics.state.w_M.real))


def _machine(pole_pairs, flux):
    return SynchronousMachine(SynchronousMachinePars(n_p=pole_pairs, R_s=0.6, L_d=0.0011, L_q=0.0015, psi_f=flux))


def _steady(rpm, size=0.0, order=1.0, pull=0.0):
    """A shaft whose drive makes good its friction, with `size` of torque ripple and a steady `pull`, in N m."""
    friction, speed = 2e-4, rpm * RPM
    return StiffMechanicalSystem(J=4e-4, B_L=friction, tau_L=lambda t: (
        -friction * speed + pull + size * np.cos(order * speed * t)))


@pytest.mark.parametrize(("pole_pairs", "flux", "rpm"), [
    (3, 0.545, 1500.0), (3, 0.545, -1500.0), (2, 0.0171, 6000.0), (4, 0.0052, -3000.0), (11, 0.033, 700.0)])
def test_sine_machines_in_both_directions(pole_pairs, flux, rpm, tmp_path):
    """Line peak sqrt(3) p psi times speed: constant, flux linkage, frequency, angles, no harmonics."""
    turned = _turn(_machine(pole_pairs, flux), _steady(rpm), rpm, 400 / abs(rpm))
    value = values_of(analyse_file(tmp_path, turned.capture(), motor_type(pole_pairs)))
    peak = 3**0.5 * pole_pairs * flux * 1000 * RPM
    for line in ("ab", "bc", "ca"):
        assert value[f"back_emf_constant_peak.{line}"] == pytest.approx(peak, rel=2e-4)
        assert value[f"back_emf_constant_rms.{line}"] == pytest.approx(peak / 2**0.5, rel=2e-4)
        assert value[f"flux_linkage.{line}"] == pytest.approx(3**0.5 * flux * 1000, rel=2e-4)
        assert value[f"thd.{line}"] < 0.02
    assert value["speed"] == pytest.approx(rpm, rel=1e-5)
    assert value["electrical_frequency"] == pytest.approx(abs(rpm) / 60 * pole_pairs, rel=1e-5)
    assert (value["phase_angle.bc"], value["phase_angle.ca"]) == pytest.approx((120, -120), abs=0.01)
    assert value["phase_order"] == 1


@pytest.mark.parametrize(("order", "torque"), [(1.0, 0.4), (2.0, 0.6), (3.0, 0.8)])
def test_ripple_once_or_a_few_times_per_revolution(order, torque, tmp_path):
    """The speed swings by 2 to 4 %: what is measured is per speed, and the swing is told as it was."""
    turned = _turn(_machine(4, 0.0171), _steady(1500.0, torque, order), 1500.0, 0.2)
    value = values_of(analyse_file(tmp_path, turned.capture(), motor_type(4)))
    assert value["flux_linkage.mean"] == pytest.approx(3**0.5 * 17.1, rel=2e-4)
    assert max(value[f"thd.{line}"] for line in ("ab", "bc", "ca")) < 0.08
    assert value["back_emf_unbalance"] < 0.02
    times = np.arange(turned.speed.size)
    left = turned.speed - np.polyval(np.polyfit(times, turned.speed, 1), times)
    assert value["speed_ripple"] == pytest.approx(100 * left.std() / turned.speed.mean(), rel=0.05)


@pytest.mark.parametrize(("order", "torque"), [(0.37, 0.004), (1.5, 0.03), (4.0, 0.1), (6.0, 0.1), (8.0, 0.1)])
def test_ripple_of_belts_and_cogging_leaves_the_constant(order, torque, tmp_path):
    """Swings of 0.1 to 0.3 % that keep no time with the shaft, or keep time with the wave itself."""
    turned = _turn(_machine(4, 0.0171), _steady(1500.0, torque, order), 1500.0, 0.2)
    value = values_of(analyse_file(tmp_path, turned.capture(), motor_type(4)))
    assert value["flux_linkage.mean"] == pytest.approx(3**0.5 * 17.1, rel=2e-4)


def test_a_drifting_shaft(tmp_path):
    """A pull of 4 mN m takes 10 rad/s each second: about 1.6 % of the speed over the capture."""
    turned = _turn(_machine(4, 0.0171), _steady(1500.0, pull=0.004), 1500.0, 0.25)
    value = values_of(analyse_file(tmp_path, turned.capture(), motor_type(4)))
    assert value["speed_drift"] == pytest.approx(100 * (turned.speed[-1] / turned.speed[0] - 1), rel=0.03)
    assert value["flux_linkage.mean"] == pytest.approx(3**0.5 * 17.1, rel=3e-4)


def test_a_coupling_that_rings(tmp_path):
    """Two masses on a soft coupling, the load side pushed at its resonance: the motor's flux stays what it is."""
    shaft = TwoMassMechanicalSystemPars(J_M=1e-4, J_L=4e-4, K_S=8.0, C_S=0.002, B_L=2e-4)
    resonance = (8.0 / 1e-4 + 8.0 / 4e-4)**0.5
    drive = 2e-4 * 1500 * RPM
    mechanics = TwoMassMechanicalSystem(shaft, lambda t: -drive + 0.02 * np.sin(resonance * t))
    turned = _turn(_machine(4, 0.0171), mechanics, 1500.0, 0.25)
    assert turned.speed.std() > 0.003 * turned.speed.mean()
    value = values_of(analyse_file(tmp_path, turned.capture(), motor_type(4)))
    assert value["flux_linkage.mean"] == pytest.approx(3**0.5 * 17.1, rel=3e-4)


@pytest.mark.parametrize(("rpm", "order"), [(1500.0, "bac"), (-1500.0, "acb")])
def test_exchanged_leads(rpm, order, tmp_path):
    turned = _turn(_machine(4, 0.0171), _steady(rpm), rpm, 0.13)
    value = values_of(analyse_file(tmp_path, turned.capture(order), motor_type(4)))
    assert value["phase_order"] == -1
    assert value["flux_linkage.mean"] == pytest.approx(3**0.5 * 17.1, rel=2e-4)
