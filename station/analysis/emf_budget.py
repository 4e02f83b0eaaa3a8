"""Uncertainty of the back-EMF: noise and repeatability, channels, what all channels share, and the drive's ripple."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import hypot, inf, log, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from station.analysis.back_emf import BackEmf
from station.analysis.budget import (
    DIGITIZER_GAIN,
    SLOT_RIPPLE,
    TEMPERATURE,
    TIMEBASE,
    channel_gain,
    channel_time,
    limit_of_error,
    type_a,
)
from station.capture import Accuracy
from station.measurement import BudgetRow
from station.motor import LINES, MotorType

Floats = NDArray[np.float64]
ROOT_3 = sqrt(3)
HARDLY = 1e-3  # of the noise, below which a row says nothing
SIX = 6


@dataclass(frozen=True, slots=True)
class EmfEvidence:
    """What the budgets need beside the fit.

    `gains` (3, r, 2p): gain of each half cycle over the mean wave, by line, revolution and half cycle;
    `gain_u` the standard uncertainty of one such gain; `frequency` electrical Hz; `lag` s, the
    largest declared delay of a voltage channel's front end.
    """

    emf: BackEmf
    gains: Floats
    gain_u: Floats
    frequency: float
    accuracy: Accuracy
    motor_type: MotorType
    phase_order: int
    lag: float = 0.0

    def front_end_loss(self) -> Floats:
        """Return what a first-order front end takes off each order at most, relative, (H,).

        Its lag is corrected as a delay, its loss is not: sqrt(1 + (2 pi h f lag)²) - 1 (derived).
        """
        lag = self.lag + self.accuracy.lag
        loss: Floats = np.sqrt(1 + (2 * pi * self.frequency * lag * self.emf.order) ** 2) - 1
        return loss

    def slot_ripple(self) -> Floats:
        """Return what speed ripple r of order m = 6k adds to orders m ± 1, of the fundamental, (H,).

        As a limit of error: r (m ± 1) / 2m from the sidebands of speed and angle together, r = 6/m of that
        at six (the same torque moves an inertia less, the faster it changes), and a phase against the
        harmonic that nobody knows, 1/sqrt(2) (derived).
        """
        order = self.emf.order
        six = np.maximum(SIX * np.round(order / SIX), SIX)
        size = self.accuracy.slot_ripple * SIX / six * order / (2 * six) / sqrt(2)
        ripple: Floats = np.where(np.abs(order - six) == 1, size, 0.0)
        return ripple


@dataclass(frozen=True, slots=True)
class EmfErrors:
    """Relative standard uncertainties of the fitted waves, from `emf_errors`."""

    repeat: tuple[BudgetRow, ...]   # type A of each line's fundamental
    order: tuple[float, ...]        # type A of one part of a harmonic, of the fundamental, by line
    gain: float                     # of one channel
    gain_common: float
    timebase: float
    temperature: float
    time: float                     # rad, electrical, of one channel
    dof: int                        # of the fit


def emf_errors(e: EmfEvidence) -> EmfErrors:
    """Return the relative uncertainties that the budgets of this capture are made of."""
    reference, accuracy = e.motor_type.reference, e.accuracy
    noise, turns = e.emf.amplitude_u[0] / e.emf.amplitude[:, 0], e.gains.shape[1]
    spreads = e.gains.mean(axis=2).std(axis=1, ddof=1) / sqrt(turns) if turns > 1 else np.zeros_like(noise)
    return EmfErrors(
        tuple(_repeat(*each, turns, e.emf.dof) for each in zip(noise.tolist(), spreads.tolist(), strict=True)),
        tuple(noise.tolist()), accuracy.gain / ROOT_3, accuracy.gain_common / ROOT_3, accuracy.timebase / ROOT_3,
        abs(reference.magnet_per_k) * accuracy.temperature / ROOT_3,
        2 * pi * e.frequency * hypot(accuracy.skew, accuracy.lag) / ROOT_3, e.emf.dof)


def _repeat(noise: float, spread: float, turns: int, dof: int) -> BudgetRow:
    """Return the larger of what residuals and what the spread of the revolutions say of a line's mean, relative."""
    return type_a("noise", noise, dof) if noise >= spread else type_a("repeatability", spread, turns - 1)


def constant_rows(errors: EmfErrors, value: float, line: int) -> list[BudgetRow]:
    """Rows of a constant of one line, V s/rad or any multiple of it: everything scales with the value."""
    repeat = errors.repeat[line]
    name = channel_gain(f"v_{LINES[line]}")
    return [type_a(repeat.source, value * repeat.u, repeat.dof), _b(name, value * errors.gain, name),
            *_shared(errors, value)]


def mean_rows(errors: EmfErrors, value: float) -> list[BudgetRow]:
    """Rows of the mean of three constants: noise and channels average, what they share does not."""
    repeats = [type_a(f"{r.source}, {line}", value * r.u / 3, r.dof)
               for line, r in zip(LINES, errors.repeat, strict=True)]
    gains = [_b(name, value * errors.gain / 3, name) for name in (channel_gain(f"v_{line}") for line in LINES)]
    return [*repeats, *gains, *_shared(errors, value)]


def _shared(errors: EmfErrors, value: float) -> list[BudgetRow]:
    return [_b(name, abs(value) * u, name) for name, u in (
        (DIGITIZER_GAIN, errors.gain_common), (TIMEBASE, errors.timebase), (TEMPERATURE, errors.temperature))]


def balance_rows(errors: EmfErrors, noise: float, gain: float, time: float = 0.0) -> list[BudgetRow]:
    """Rows, %, of a comparison of the three fundamentals, by how it moves with one line's size and time.

    What the channels share cancels, so it has no row.
    """
    worst = max(errors.repeat, key=lambda row: row.u)
    return [type_a(worst.source, 100 * noise * worst.u, worst.dof),
            _b("gains of the voltage channels", 100 * gain * errors.gain),
            _b("times of the voltage channels", 100 * time * errors.time)]


def phase_rows(errors: EmfErrors, line: int) -> list[BudgetRow]:
    """Rows, degrees, of a line's phase after that of ab."""
    noise = hypot(errors.order[0], errors.order[line])
    names = [channel_time(f"v_{LINES[each]}") for each in (line, 0)]
    return [type_a("noise", np.rad2deg(noise), errors.dof),
            *(_b(name, np.rad2deg(errors.time), name) for name in names)]


def harmonic_rows(noise: float, loss: float, ripple: float, dof: int) -> list[BudgetRow]:
    """Rows of one harmonic over the fundamental: gain, temperature and time cancel."""
    rows = [type_a("noise", noise, dof)]
    if abs(loss) > HARDLY * noise:
        rows.append(limit_of_error("loss of the front end", loss))
    if ripple:
        rows.append(limit_of_error(SLOT_RIPPLE, ripple))
    return rows


def thd_rows(share: Floats, noise: Floats, limits: dict[str, Floats], dof: int) -> list[BudgetRow]:
    """Rows of the root of summed squares of shares (n,), from those of each share.

    The sum of squares has u² = sum of 4 s² u² + 4 u⁴ from noise; a root moves by
    sqrt(thd² + u) - thd, which is u / 2 thd far from zero and sqrt(u) at it (derived).
    """
    square = float((share**2).sum())
    moved = float(np.sqrt((4 * share**2 * noise**2 + 4 * noise**4).sum()))
    rows = [type_a("noise", sqrt(square + moved) - sqrt(square), dof)]
    for source, limit in limits.items():
        size = float(np.sqrt(((share * limit) ** 2).sum() / square)) if square > 0 else float(limit.max())
        rows.append(limit_of_error(source, size))
    return rows


def range_reach(count: int) -> float:
    """Return how many u the range of `count` equal numbers reaches by noise alone in 95 % of all cases.

    Source: a line through tables of the studentized range, from memory; within 6 % for 2 to 28.
    """
    return 2.2 + log(max(count, 2))


def scaled(rows: Iterable[BudgetRow], factor: float) -> list[BudgetRow]:
    """Return the rows in a unit `factor` times smaller."""
    return [BudgetRow(r.source, r.kind, r.distribution, r.u * factor, r.dof, r.shared) for r in rows]


def _b(source: str, u: float, shared: str = "") -> BudgetRow:
    return BudgetRow(source, "B", "rectangular", abs(u), inf, shared)


def odd_noise(e: EmfEvidence, line: int) -> float:
    """Return what the noise of the odd orders above the first adds, relative, to the mean of two opposite peaks."""
    odd: Sequence[float] = e.emf.amplitude_u[2:e.emf.orders:2].tolist()
    return sqrt(sum(u * u for u in odd)) / float(e.emf.amplitude[line, 0])
