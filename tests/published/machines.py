"""Captures of ideal machines for comparison with published values, made straight from their definitions."""

import numpy as np

from station.analysis.analyse import analyse_capture
from station.capture import Capture, Channel
from station.motor import HallLayout, MotorType, Reference
from station.record.capture_file import read_capture, write_capture
from station.units import RPM

TURN = 2 * np.pi / 3
RATE = 200e3


def motor_type(pole_pairs, winding="star"):
    return MotorType("published", pole_pairs, winding, 48.0, "clockwise", "drive end",
                     HallLayout(120, (0.0, 120.0, 240.0)), Reference())


def capture_of(lines, rpm, halls=None, scale=None, interval=1 / RATE):
    """Capture of `lines` (3, n) V and optional `halls` (3, n) V, quantised to 16 bit."""
    codes, channels = {}, {}
    full = float(np.abs(lines).max()) * 1.2
    for name, volts in zip(("v_ab", "v_bc", "v_ca"), lines, strict=True):
        channels[name] = Channel(scale or full / 32768)
        codes[name] = np.round(volts / channels[name].scale).astype(np.int16)
    for name, volts in zip(("h_a", "h_b", "h_c"), () if halls is None else halls, strict=halls is not None):
        channels[name] = Channel(1e-3)
        codes[name] = np.round(volts / 1e-3).astype(np.int16)
    return Capture(codes, channels, interval, 0.0, rpm * RPM, rpm * RPM, 20.0)


def analyse_file(folder, capture, of_type):
    """Analysis of `capture` after a round through a capture file."""
    write_capture(folder / "waves.parquet", capture)
    return analyse_capture(read_capture(folder / "waves.parquet"), of_type)


def values_of(found):
    """Value by name of an analysis that is not refused."""
    assert found.refused is None, found.refused
    return {name: each.value for name, each in found.measurements.items()}


def angles(pole_pairs, rpm, revolutions=12.3):
    """Electrical angle (n,) rad of a rotor at constant speed."""
    duration = revolutions * 60 / abs(rpm)
    return pole_pairs * rpm * RPM * np.arange(int(duration * RATE)) / RATE


def ideal_halls(angle):
    """Three sensors (3, n), high for half a turn from 0, 120 and 240 degrees, 5 V."""
    return 5.0 * (np.sin(angle - TURN * np.arange(3)[:, None]) > 0)


def trapezoid(angle, flat_deg=120.0):
    """Unit phase trapezoid with a flat top of `flat_deg`."""
    ramp = np.deg2rad((180 - flat_deg) / 2)
    return np.clip(np.arcsin(np.sin(angle)) / ramp, -1, 1)
