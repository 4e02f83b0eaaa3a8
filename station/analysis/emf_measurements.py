"""Measurements of the back-EMF with their budgets, from the fitted harmonics."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from station.analysis.back_emf import GRID, BackEmf
from station.analysis.budget import limit_of_error, measurement, type_a
from station.analysis.line_voltages import ORDERS
from station.analysis.unbalance import symmetrical_components
from station.capture import Accuracy
from station.measurement import BudgetRow, Measurement
from station.motor import LINES, MotorType
from station.units import DEGREE, VOLT_PER_KRPM

Floats = NDArray[np.float64]
FLAT_SHARE = 0.95  # of the peak, above which a top counts as flat
MILLI = 1e-3


@dataclass(frozen=True, slots=True)
class EmfEvidence:
    """What the budgets need beside the fit.

    `gains` (3, r, 2p): gain of each half cycle over the mean wave, by line, revolution and half cycle;
    `gain_u` the standard uncertainty of one such gain; `frequency` electrical Hz.
    """

    emf: BackEmf
    gains: Floats
    gain_u: Floats
    frequency: float
    accuracy: Accuracy
    motor_type: MotorType
    phase_order: int

    def relative_a(self, line: int) -> float:
        """Return the relative type A uncertainty of a constant: residuals or repeatability, the larger."""
        noise = float(self.emf.amplitude_u[0] / self.emf.amplitude[line, 0])
        turns = self.gains[line].mean(axis=1)
        spread = float(turns.std(ddof=1) / sqrt(turns.size)) if turns.size > 1 else 0.0
        return max(noise, spread)

    def peak_a(self, line: int) -> float:
        """Return what the noise of the odd orders above the first adds, relative, to the mean of two opposite peaks."""
        odd = self.emf.amplitude_u[2:self.emf.orders:2]
        return float(np.sqrt((odd**2).sum()) / self.emf.amplitude[line, 0])

    def angle_u(self, *, lines: int = 2) -> float:
        """Return the type A uncertainty, rad, of a phase difference between `lines` fundamentals."""
        return sqrt(lines) * float(self.emf.amplitude_u[0] / self.emf.amplitude[:, 0].min())


def emf_measurements(evidence: EmfEvidence) -> dict[str, Measurement]:
    """Return every characteristic of the back-EMF, in the units of the contract."""
    found: list[Measurement] = []
    for rows in (_constants, _balance, _phase_angles, _harmonics, _shapes, _offsets):
        found.extend(rows(evidence))
    return {m.name: m for m in found}


def _constants(e: EmfEvidence) -> Iterator[Measurement]:
    wave = e.emf.wave()
    peak = (wave.max(axis=1) - wave.min(axis=1)) / 2
    rms = np.sqrt((e.emf.amplitude[:, :e.emf.orders] ** 2).sum(axis=1) / 2)
    flux = np.abs(wave).mean(axis=1) * pi / (2 * e.motor_type.pole_pairs)  # mean / 4f, f = p w / 2 pi
    for name, values, unit in (("back_emf_constant_peak", peak, VOLT_PER_KRPM),
                               ("back_emf_constant_fundamental", e.emf.amplitude[:, 0], VOLT_PER_KRPM),
                               ("back_emf_constant_rms", rms, VOLT_PER_KRPM), ("flux_linkage", flux, MILLI)):
        for line, value in zip(LINES, values / unit, strict=True):
            row = LINES.index(line)
            extra = [type_a("noise of the higher orders", value * e.peak_a(row), e.emf.dof)] if values is peak else []
            yield measurement(f"{name}.{line}", value, extra + _constant_rows(e, value, row))
        mean = float(values.mean()) / unit
        noise = mean * e.peak_a(0) / sqrt(3)
        extra = [type_a("noise of the higher orders", noise, e.emf.dof)] if values is peak else []
        yield measurement(f"{name}.mean", mean, extra + _mean_rows(e, mean))


def _constant_rows(e: EmfEvidence, value: float, line: int) -> list[BudgetRow]:
    repeats = e.gains.shape[1] - 1
    return [type_a("noise and repeatability", value * e.relative_a(line), max(repeats, 1)),
            limit_of_error("channel gain", value * e.accuracy.gain), *_shared_rows(e, value)]


def _mean_rows(e: EmfEvidence, value: float) -> list[BudgetRow]:
    noise = sqrt(sum(e.relative_a(line) ** 2 for line in range(3))) / 3
    return [type_a("noise and repeatability", value * noise, max(e.gains.shape[1] - 1, 1)),
            limit_of_error("channel gain", value * e.accuracy.gain / sqrt(3)), *_shared_rows(e, value)]


def _shared_rows(e: EmfEvidence, value: float) -> list[BudgetRow]:
    return [
        limit_of_error("digitizer reference", value * e.accuracy.gain_common, "digitizer gain"),
        limit_of_error("timebase", value * e.accuracy.timebase, "timebase"),
        limit_of_error("magnet temperature",
                       value * e.motor_type.reference.magnet_per_k * e.accuracy.temperature, "temperature"),
    ]


def _balance(e: EmfEvidence) -> Iterator[Measurement]:
    sizes = e.emf.amplitude[:, 0]
    spread = 100 * float(np.abs(sizes - sizes.mean()).max() / sizes.mean())
    noise = 100 * sqrt(2) * max(e.relative_a(line) for line in range(3))
    gain = 100 * e.accuracy.gain * sqrt(2 / 3)  # deviation of one gain from the mean of three
    rows = [type_a("noise and repeatability", noise, inf), limit_of_error("channel gain", gain)]
    yield measurement("back_emf_spread", spread, rows)
    phasors = e.emf.phasors()
    ordered = phasors if e.phase_order > 0 else phasors[[0, 2, 1]]
    _zero, positive, negative = symmetrical_components(ordered)
    skew = 100 * e.accuracy.skew * 2 * pi * e.frequency * sqrt(2 / 3)
    rows = [type_a("noise and repeatability", noise / sqrt(3), inf), limit_of_error("channel gain", gain / sqrt(3)),
            limit_of_error("channel skew", skew)]
    yield measurement("back_emf_unbalance", 100 * abs(negative) / abs(positive), rows)
    rows = [type_a("noise", 100 * e.angle_u(lines=3), inf),
            limit_of_error("channel gain", 100 * e.accuracy.gain * sqrt(3)),
            limit_of_error("channel skew", skew)]
    yield measurement("line_sum", 100 * float(abs(phasors.sum()) / sizes.mean()), rows)
    yield measurement("phase_order", e.phase_order, [])


def _phase_angles(e: EmfEvidence) -> Iterator[Measurement]:
    skew = e.accuracy.skew * sqrt(2) * 360 * e.frequency
    lag = e.accuracy.lag * sqrt(2) * 360 * e.frequency
    for index, line in ((1, "bc"), (2, "ca")):
        rows = [type_a("noise", e.angle_u() / DEGREE, e.emf.dof), limit_of_error("channel skew", skew),
                limit_of_error("front-end lag", lag)]
        yield measurement(f"phase_angle.{line}", -float(e.emf.phase[index, 0]) / DEGREE, rows)


def _harmonics(e: EmfEvidence) -> Iterator[Measurement]:
    for index, line in enumerate(LINES):
        amplitude, u = e.emf.amplitude[index], e.emf.amplitude_u
        share, share_u = 100 * amplitude / amplitude[0], 100 * u / amplitude[0]
        for order in range(2, e.emf.orders + 1):
            yield measurement(f"harmonic_{order}.{line}", share[order - 1],
                              [type_a("noise", share_u[order - 1], e.emf.dof)])
        if e.emf.orders < ORDERS:
            continue  # a sum over fewer orders than its definition would read low
        top = slice(1, ORDERS)
        square = float((share[top] ** 2).sum() - (share_u[top] ** 2).sum() * 2)  # two parts of noise each
        yield measurement(f"thd.{line}", sqrt(max(square, 0.0)), [type_a("noise", share_u[0], e.emf.dof)])


def _shapes(e: EmfEvidence) -> Iterator[Measurement]:
    wave = e.emf.wave()
    for index, line in enumerate(LINES):
        tops = [np.count_nonzero(side > FLAT_SHARE * side.max()) for side in (wave[index], -wave[index])]
        # Noise moves the level at which the top is cut; on a sine the width follows the peak as below.
        noise = np.rad2deg(e.peak_a(index)) * 2 / np.sqrt(1 - FLAT_SHARE**2)
        yield measurement(f"flat_top.{line}", sum(tops) / 2 * 360 / GRID,
                          [type_a("noise", noise, e.emf.dof), limit_of_error("angle grid", 360 / GRID)])
        poles = e.gains[index].mean(axis=0)
        yield measurement(f"pole_spread.{line}", 100 * float((poles.max() - poles.min()) / poles.mean()),
                          [type_a("noise", 100 * sqrt(2 / e.gains.shape[1]) * float(e.gain_u[index]), e.emf.dof)])


def _offsets(e: EmfEvidence) -> Iterator[Measurement]:
    for line, offset in zip(LINES, e.emf.offset, strict=True):
        yield measurement(f"back_emf_offset.{line}", float(offset),
                          [type_a("noise", e.emf.offset_u, e.emf.dof),
                           limit_of_error("channel offset", e.accuracy.offset)])
