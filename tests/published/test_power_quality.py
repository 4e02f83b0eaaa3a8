"""Harmonics, distortion and unbalance of the same samples by pqopen, a library for the quality of mains.

Source: pqopen-lib 0.10: `resample_and_fft`, `calc_harmonics`, `calc_thd`, `calc_unbalance`, `ZeroCrossDetector`. The
waves come from ngspice and from gym-electric-motor; every spectrum holds whole periods, as pqopen wants.
"""

from dataclasses import replace

import numpy as np
import pytest
from circuits import Coil, ShortedCoil, Timing, TrapezoidCoil, delta, lines_of, meters, star, transient
from gym_electric_motor.physical_systems.electric_motors import PermanentMagnetSynchronousMotor
from gym_machines import coast
from machines import analyse_file, capture_of, motor_type, values_of
from pqopen.powerquality import calc_harmonics, calc_thd, calc_unbalance, resample_and_fft
from pqopen.zcd import ZeroCrossDetector

AT = Timing()
SMALL = {"p": 4, "psi_p": 0.0094, "l_d": 0.4e-3, "l_q": 0.4e-3, "r_s": 0.2, "j_rotor": 3e-5}
RICH = Coil({1: 10.0, 2: 0.1, 3: 1.0, 5: 0.4, 7: 0.2, 25: 0.03})


@pytest.mark.parametrize(("build", "coils"), [
    pytest.param(delta, [RICH] * 3, id="delta of many orders"),
    pytest.param(star, [TrapezoidCoil()] * 3, id="trapezoid"),
    pytest.param(delta, [TrapezoidCoil(ramp_deg=20.0), TrapezoidCoil(), TrapezoidCoil(turns=0.95)], id="odd shapes"),
    pytest.param(star, [replace(RICH, turns=0.9), RICH, replace(RICH, turned_deg=3.0)], id="unbalanced star"),
    pytest.param(star, [RICH, ShortedCoil(RICH.volts, share=0.05), RICH], id="shorted turns"),
    pytest.param(delta, [RICH, replace(RICH, turns=-1.0), RICH], id="reversed winding"),
])
def test_orders_distortion_and_unbalance(build, coils, tmp_path):
    solved = transient([*build(coils, AT), *meters()], AT, tmp_path)
    _compare(capture_of(lines_of(solved), AT.rpm, interval=AT.interval), AT.periods, build.__name__, tmp_path)


def test_a_machine_with_a_weak_winding(tmp_path):
    """gym-electric-motor's small machine at 3000 r/min, 200 Hz, 80 periods; one winding 7 % low."""
    turned = coast(PermanentMagnetSynchronousMotor(SMALL), 3000.0, 0.4)
    weak = replace(turned, phases=turned.phases * np.array([[1.0], [0.93], [1.0]]))
    _compare(weak.capture(), 80, "star", tmp_path)


def _compare(capture, periods, winding, folder):
    ours = values_of(analyse_file(folder, capture, motor_type(4, winding)))
    volts = [capture.codes[name] * capture.channels[name].scale for name in ("v_ab", "v_bc", "v_ca")]
    spectra = [resample_and_fft(wave, wave.size) for wave in volts]
    for line, spectrum in zip(("ab", "bc", "ca"), spectra, strict=True):
        rms, _ = calc_harmonics(spectrum, periods, 25)
        assert ours[f"thd.{line}"] == pytest.approx(calc_thd(rms, 25), abs=0.01)
        for order in range(2, 26):
            assert ours[f"harmonic_{order}.{line}"] == pytest.approx(100 * rms[order] / rms[1], abs=0.01), order
    in_order = spectra if ours["phase_order"] > 0 else [spectra[0], spectra[2], spectra[1]]
    _zero, negative = calc_unbalance([spectrum[periods] for spectrum in in_order])
    assert ours["back_emf_unbalance"] == pytest.approx(negative, abs=0.01)
    rate = 1 / capture.sample_interval
    crossings = ZeroCrossDetector(3 * rate * periods / capture.size, 0.0, rate).process(volts[0])[2:]
    frequency = (len(crossings) - 1) * rate / (crossings[-1] - crossings[0])
    assert ours["electrical_frequency"] == pytest.approx(frequency, rel=1e-4)
