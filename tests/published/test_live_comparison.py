"""The analysis against machines and harmonics computed by libraries that nobody here wrote."""

import numpy as np
import pytest
from machines import angles, capture_of, motor_type
from motulator.common.utils import complex2abc
from motulator.drive.model import SynchronousMachine
from motulator.drive.utils import SynchronousMachinePars
from pqopen.powerquality import calc_harmonics, calc_thd, calc_unbalance, resample_and_fft

from station.analysis.analyse import analyse_capture
from station.record.capture_file import read_capture, write_capture
from station.units import RPM


def _open_terminal_voltage(angle, rpm, pole_pairs):
    """Phase voltages (3, n) of motulator's synchronous machine with no current.

    Its own state equation gives the flux derivative at zero voltage; the voltage that holds the flux
    still, and so the current at zero, is the negative of that.
    """
    machine = SynchronousMachine(SynchronousMachinePars(n_p=pole_pairs, R_s=3.6, L_d=0.036, L_q=0.051, psi_f=0.545))
    machine.inp.w_M, machine.inp.u_ss = rpm * RPM, 0j
    machine.set_outputs(None)
    assert machine.out.i_s == 0
    holding = -machine.rhs()[0]
    return np.asarray(complex2abc(holding * np.exp(1j * angle)))


def test_open_circuit_waveform_of_motulator(tmp_path):
    """Expected: line peak 444.8343 V at 1500 r/min, so 296.5562 V peak and 209.6969 V rms per krpm."""
    angle = angles(3, 1500.0)
    phases = _open_terminal_voltage(angle, 1500.0, 3)
    write_capture(tmp_path / "open.parquet", capture_of(phases - np.roll(phases, -1, axis=0), 1500.0))
    found = analyse_capture(read_capture(tmp_path / "open.parquet"), motor_type(3))
    assert found.refused is None
    value = {name: m.value for name, m in found.measurements.items()}
    assert value["back_emf_constant_peak.ab"] == pytest.approx(296.5562, rel=2e-4)
    assert value["back_emf_constant_rms.mean"] == pytest.approx(209.6969, rel=2e-4)
    assert value["phase_order"] == 1
    assert value["thd.ab"] < 0.02


def test_harmonics_and_unbalance_of_pqopen():
    """The same samples through pqopen: whole periods, its FFT, its distortion and its unbalance."""
    pole_pairs, rpm = 4, 1500.0
    angle = angles(pole_pairs, rpm, revolutions=12.0)
    gains = np.array([1.0, 0.97, 1.02])
    turned = angle - np.deg2rad([[0], [120], [240]])
    phases = 9 * gains[:, None] * (np.sin(turned) + 0.04 * np.sin(5 * turned + 1) + 0.02 * np.sin(7 * turned))
    capture = capture_of(phases - np.roll(phases, -1, axis=0), rpm)  # unlike phases, lines that close
    ours = {name: m.value for name, m in analyse_capture(capture, motor_type(pole_pairs)).measurements.items()}

    volts = [capture.codes[name] * capture.channels[name].scale for name in ("v_ab", "v_bc", "v_ca")]
    periods = 48
    spectra = [resample_and_fft(wave, 1 << 17) for wave in volts]
    for line, spectrum in zip(("ab", "bc", "ca"), spectra, strict=True):
        rms, _ = calc_harmonics(spectrum, periods, 25)
        assert ours[f"thd.{line}"] == pytest.approx(calc_thd(rms, 25), abs=0.02)
        assert ours[f"harmonic_5.{line}"] == pytest.approx(100 * rms[5] / rms[1], abs=0.02)
    fundamentals = [spectrum[periods] for spectrum in spectra]
    _zero, negative = calc_unbalance(fundamentals)
    assert ours["back_emf_unbalance"] == pytest.approx(negative, abs=0.01)
