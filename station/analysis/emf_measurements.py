"""Measurements of the back-EMF with their budgets, from the fitted harmonics."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import pi, sqrt

import numpy as np
from numpy.typing import NDArray

from station.analysis import emf_budget as budget
from station.analysis.back_emf import GRID, BackEmf
from station.analysis.budget import (
    SLOT_RIPPLE,
    SLOT_RMS,
    UNLIKE_LINES,
    channel_offset,
    limit_of_error,
    measurement,
    near_zero,
    type_a,
)
from station.analysis.emf_budget import EmfErrors, EmfEvidence
from station.analysis.line_voltages import ORDERS
from station.analysis.unbalance import symmetrical_components
from station.measurement import BudgetRow, Measurement
from station.motor import LINES
from station.units import VOLT_PER_KRPM

__all__ = ["EmfEvidence", "emf_measurements"]

Floats = NDArray[np.float64]
FLAT_SHARE = 0.95  # of the peak, above which a top counts as flat
TOP_SLOPE = sqrt(1 - FLAT_SHARE**2)  # of a unit sine, where its top is cut
NO_LOSS = 1e-5     # of the highest order, below which no shape can show what the front end takes off
MILLI = 1e-3


@dataclass(frozen=True, slots=True)
class _Shapes:
    """What is read off the drawn waves, (3,) each: V s/rad, and rad for the flat top."""

    peak: Floats
    rms: Floats
    mean: Floats
    flat_top: Floats


def emf_measurements(evidence: EmfEvidence) -> dict[str, Measurement]:
    """Return every characteristic of the back-EMF, in the units of the contract."""
    errors, shapes = budget.emf_errors(evidence), _shapes(evidence.emf)
    loss = evidence.front_end_loss()
    lost = (shapes if loss[-1] < NO_LOSS else
            _shapes(replace(evidence.emf, amplitude=evidence.emf.amplitude * (1 + loss))))
    found = [*_constants(evidence, errors, shapes, lost, loss), *_balance(evidence, errors),
             *(measurement(f"phase_angle.{LINES[line]}", -np.rad2deg(evidence.emf.phase[line, 0]),
                           budget.phase_rows(errors, line)) for line in (1, 2)),
             *_harmonics(evidence, loss), *_flat_tops(evidence, shapes, lost), *_poles(evidence), *_offsets(evidence)]
    return {m.name: m for m in found}


def _shapes(emf: BackEmf) -> _Shapes:
    wave = emf.wave()
    high, low = wave.max(axis=1), wave.min(axis=1)
    tops = (wave > FLAT_SHARE * high[:, None]) | (wave < FLAT_SHARE * low[:, None])
    return _Shapes((high - low) / 2, np.sqrt((emf.amplitude[:, :emf.orders] ** 2).sum(axis=1) / 2),
                   np.abs(wave).mean(axis=1), tops.sum(axis=1) * pi / GRID)


def _constants(e: EmfEvidence, errors: EmfErrors, shapes: _Shapes, lost: _Shapes, loss: Floats
               ) -> Iterator[Measurement]:
    fundamental = e.emf.amplitude[:, 0]
    # mean / 4f with f = p w / 2 pi
    flux = pi / (2 * e.motor_type.pole_pairs) / MILLI
    krpm = 1 / VOLT_PER_KRPM
    for name, values, undone, unit in (
            ("back_emf_constant_peak", shapes.peak, lost.peak, krpm),
            ("back_emf_constant_fundamental", fundamental, fundamental * (1 + loss[0]), krpm),
            ("back_emf_constant_rms", shapes.rms, lost.rms, krpm),
            ("flux_linkage", shapes.mean, lost.mean, flux)):
        sizes, losses = (values * unit).tolist(), ((undone - values) * unit).tolist()
        extra = [_peak_rows(e, line, size) if values is shapes.peak else [] for line, size in enumerate(sizes)]
        for line, (size, lacks) in enumerate(zip(sizes, losses, strict=True)):
            yield measurement(f"{name}.{LINES[line]}", size, [
                *budget.constant_rows(errors, size, line), limit_of_error("loss of the front end", lacks),
                *extra[line]])
        mean = sum(sizes) / 3
        yield measurement(f"{name}.mean", mean, [
            *budget.mean_rows(errors, mean), limit_of_error("loss of the front end", max(map(abs, losses))),
            *_of_mean(extra[0])])


def _peak_rows(e: EmfEvidence, line: int, value: float) -> list[BudgetRow]:
    """Rows that a peak has beside its fundamental; slot ripple at its crest adds all of itself."""
    return [type_a("noise of the higher orders", value * budget.odd_noise(e, line), e.emf.dof),
            limit_of_error(SLOT_RIPPLE, value * SLOT_RMS * e.accuracy.slot_ripple)]


def _of_mean(rows: list[BudgetRow]) -> list[BudgetRow]:
    """Rows of a mean over lines: noise is of each line, the drive's ripple of all."""
    return [row._replace(u=row.u / sqrt(3)) if row.kind == "A" else row for row in rows]


def _balance(e: EmfEvidence, errors: EmfErrors) -> Iterator[Measurement]:
    """Comparisons of the three fundamentals.

    With u of one line: a deviation from the mean of three has sqrt(2/3) u, one part of the negative
    sequence u / sqrt(6), one part of the sum of three phasors sqrt(3/2) u; of noise, which has two parts
    of u each, u / sqrt(3) and sqrt(3) u (derived).
    """
    sizes = e.emf.amplitude[:, 0]
    spread = 100 * float(np.abs(sizes - sizes.mean()).max() / sizes.mean())
    rows = budget.balance_rows(errors, sqrt(2 / 3), sqrt(2 / 3))
    yield measurement("back_emf_spread", spread, near_zero(rows, spread))
    phasors = e.emf.phasors()
    ordered = phasors if e.phase_order > 0 else phasors[[0, 2, 1]]
    _zero, positive, negative = symmetrical_components(ordered)
    unbalance = 100 * abs(negative) / abs(positive)
    rows = budget.balance_rows(errors, 1 / sqrt(3), 1 / sqrt(6), 1 / sqrt(6))
    yield measurement("back_emf_unbalance", unbalance, near_zero(rows, unbalance))
    line_sum = 100 * float(abs(phasors.sum()) / sizes.mean())
    rows = budget.balance_rows(errors, sqrt(3), sqrt(3 / 2), sqrt(3 / 2))
    yield measurement("line_sum", line_sum, near_zero(rows, line_sum))
    yield measurement("phase_order", e.phase_order, [])


def _harmonics(e: EmfEvidence, loss: Floats) -> Iterator[Measurement]:
    sizes = e.emf.amplitude[:, :1]
    shares, noises = 100 * e.emf.amplitude / sizes, 100 * e.emf.amplitude_u / sizes
    losses, ripple = shares * (loss - loss[0]), 100 * e.slot_ripple()
    ripples: list[float] = ripple.tolist()
    for index, line in enumerate(LINES):
        share, noise, lost = shares[index].tolist(), noises[index].tolist(), losses[index].tolist()
        for h in range(1, e.emf.orders):
            rows = budget.harmonic_rows(noise[h], lost[h], ripples[h], e.emf.dof)
            if h == 1:
                rows.append(limit_of_error("order 2 unlike from line to line", UNLIKE_LINES * share[h]))
            yield measurement(f"harmonic_{h + 1}.{line}", share[h], near_zero(rows, share[h]))
        if e.emf.orders < ORDERS:
            continue  # a sum over fewer orders than its definition would read low
        yield _thd(line, shares[index, 1:], noises[index, 1:],
                   {"loss of the front end": losses[index, 1:], SLOT_RIPPLE: ripple[1:]}, e.emf.dof)


def _thd(line: str, share: Floats, noise: Floats, limits: dict[str, Floats], dof: int) -> Measurement:
    """Return thd without what noise adds to its square, 2 u² an order: two parts of noise each."""
    square = float((share**2).sum() - 2 * (noise**2).sum())
    return measurement(f"thd.{line}", sqrt(max(square, 0.0)), budget.thd_rows(share, noise, limits, dof))


def _flat_tops(e: EmfEvidence, shapes: _Shapes, lost: _Shapes) -> Iterator[Measurement]:
    """Widths above a share of the peak; noise and ripple move that level, on a sine the width as below."""
    widths = np.rad2deg(shapes.flat_top).tolist()
    losses = np.rad2deg(lost.flat_top - shapes.flat_top).tolist()
    per_level = float(np.rad2deg(2 / TOP_SLOPE))
    for line, name in enumerate(LINES):
        noise = per_level * budget.odd_noise(e, line)
        yield measurement(f"flat_top.{name}", widths[line], [
            type_a("noise", noise, e.emf.dof), limit_of_error("angle grid", 360 / GRID / sqrt(2)),
            limit_of_error("loss of the front end", losses[line]),
            limit_of_error(SLOT_RIPPLE, per_level * SLOT_RMS * e.accuracy.slot_ripple)])


def _poles(e: EmfEvidence) -> Iterator[Measurement]:
    poles = e.gains.mean(axis=1)
    spreads = 100 * (poles.max(axis=1) - poles.min(axis=1)) / poles.mean(axis=1)
    reach = budget.range_reach(poles.shape[1]) / sqrt(2)
    for line, spread, u in zip(LINES, spreads.tolist(), e.gain_u.tolist(), strict=True):
        rows = [type_a("noise", 100 * sqrt(2 / e.gains.shape[1]) * u, e.emf.dof)]
        yield measurement(f"pole_spread.{line}", spread, near_zero(rows, spread, reach))


def _offsets(e: EmfEvidence) -> Iterator[Measurement]:
    for line, offset in zip(LINES, e.emf.offset.tolist(), strict=True):
        yield measurement(f"back_emf_offset.{line}", offset, [
            type_a("noise", e.emf.offset_u, e.emf.dof),
            limit_of_error(channel_offset(f"v_{line}"), e.accuracy.offset, channel_offset(f"v_{line}"))])
