"""The motion of the shaft as few numbers: a polynomial in time and ripple at orders of the revolution."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from station.analysis.wave_fit import harmonics

Floats = NDArray[np.float64]
MECHANICAL_ORDERS = (1, 2, 3)  # of speed ripple: unbalance, misalignment and coupling of the drive
NONE = np.zeros(0, dtype=np.intp)
ELECTRICAL_ORDERS = (1, 2)     # from order 3 on, ripple and harmonics have the same sequence
DEGREE = 2                     # place, speed and drift; a higher one costs precision, so it must be called for


def ripple_orders(pole_pairs: int) -> tuple[float, ...]:
    """Return the mechanical orders of speed ripple that can be told from harmonics of the lines.

    A whole electrical order is one of them only if the sequence of the lines can tell: see `electrical_ripple`.
    """
    return tuple(float(k) for k in MECHANICAL_ORDERS if k % pole_pairs or k // pole_pairs in ELECTRICAL_ORDERS)


@dataclass(frozen=True, slots=True)
class ShaftMotion:
    """Electrical rotor angle (rad) as coefficients on `columns`.

    x = (t - centre) / span runs from -1/2 to 1/2 over the capture. `polynomial` (d + 1,) are the
    factors of 1, x, x² ...; `in_phase` and `quadrature` (k,) those of cosine and sine of `orders` (k,)
    per revolution, of which `tuned` (k,) says which were found in the capture rather than known.
    Ripple runs with the mechanical angle, of which `carrier` (d,) are the factors of x, x² ...
    """

    centre: float
    span: float
    carrier: Floats
    polynomial: Floats
    orders: Floats
    tuned: NDArray[np.bool_]
    in_phase: Floats
    quadrature: Floats

    @property
    def cycle(self) -> float:
        """Difference of order, per revolution, that makes one cycle over the whole capture."""
        return float(2 * np.pi / abs(self.carrier[0]))

    @property
    def unknowns(self) -> int:
        """Numbers that describe the motion, places of tuned orders among them."""
        return int(self.polynomial.size + 2 * self.orders.size + self.tuned.sum())

    @property
    def movable(self) -> NDArray[np.intp]:
        """Indices of the tuned orders that have an amplitude, without which their place has no effect."""
        if not self.tuned.any():
            return NONE
        return np.flatnonzero(self.tuned & ((self.in_phase != 0) | (self.quadrature != 0)))

    def columns(self, times: Floats) -> Floats:
        """Return (d + 1 + 2k, n): what each coefficient adds to the angle at `times` (n,) s."""
        powers = self._powers_at(times)
        return np.concatenate([powers, self._turns(powers)])

    def has_columns_of(self, other: "ShaftMotion") -> bool:
        """Say whether the columns of both are the same, so that the motions differ in their coefficients alone."""
        return ((self.centre, self.span) == (other.centre, other.span) and np.array_equal(self.carrier, other.carrier)
                and np.array_equal(self.orders, other.orders))

    def slopes(self, times: Floats) -> Floats:
        """Return (d + 1 + 2k, n): what each coefficient adds to the angular speed, 1/s."""
        powers, cosine, sine = self._parts(self.columns(times))
        rate = np.multiply.outer(self.orders, _derivative(self.carrier) @ powers[:-1])
        rising = np.arange(1.0, self.polynomial.size)[:, None] * powers[:-1]
        return np.concatenate([np.zeros((1, times.size)), rising, -rate * sine, rate * cosine]) / self.span

    def drifts(self) -> Floats:
        """Return (d + 1,): what each power of time adds to the speed from start to end of the capture, 1/s."""
        power = np.arange(float(self.polynomial.size))
        drifts: Floats = power * (0.5 ** (power - 1) - (-0.5) ** (power - 1)) / self.span
        return drifts

    def order_columns(self, times: Floats) -> Floats:
        """Return (movable orders, n): how the angle moves with each of them, rad."""
        index = self.movable
        if not index.size:
            return np.zeros((0, times.size))
        mechanical = self._mechanical(self._powers_at(times))
        turned = np.multiply.outer(self.orders[index], mechanical)
        moved: Floats = mechanical * (self.quadrature[index, None] * np.cos(turned)
                                      - self.in_phase[index, None] * np.sin(turned))
        return moved

    def at(self, times: Floats) -> tuple[Floats, Floats]:
        """Return angle (n,) rad and angular speed (n,) rad/s at `times` (n,) s."""
        return self.on(self.columns(times))

    def on(self, columns: Floats) -> tuple[Floats, Floats]:
        """Return angle (n,) rad and angular speed (n,) rad/s where the motion's `columns` (d + 1 + 2k, n) stand."""
        powers, cosine, sine = self._parts(columns)
        angle = self.polynomial @ powers + self.in_phase @ cosine + self.quadrature @ sine
        wobble = (self.orders * self.quadrature) @ cosine - (self.orders * self.in_phase) @ sine
        steady = _derivative(self.polynomial[1:]) @ powers[:-1]
        return angle, (steady + (_derivative(self.carrier) @ powers[:-1]) * wobble) / self.span

    def steady_speed(self, times: Floats) -> Floats:
        """Return the angular speed (n,) rad/s without ripple."""
        speed: Floats = _derivative(self.polynomial[1:]) @ self._powers_at(times)[:-1] / self.span
        return speed

    def moved(self, by: Floats) -> "ShaftMotion":
        """Return the motion with `by` (d + 1 + 2k,) added to its coefficients."""
        polynomial, in_phase, quadrature = self._parts(by)
        return replace(self, polynomial=self.polynomial + polynomial, in_phase=self.in_phase + in_phase,
                       quadrature=self.quadrature + quadrature)

    def with_order(self, order: float, apart: float) -> "ShaftMotion":
        """Return the same motion with ripple of `order` tuned: a new one, or a known one less than `apart` away."""
        distance = np.abs(self.orders - order)
        if distance.min(initial=np.inf) < apart:
            return replace(self, tuned=self.tuned | (distance == distance.min()))
        return replace(self, orders=np.append(self.orders, order), tuned=np.append(self.tuned, True),
                       in_phase=np.append(self.in_phase, 0.0), quadrature=np.append(self.quadrature, 0.0))

    def with_degree(self) -> "ShaftMotion":
        """Return the same motion with room for one more power of time."""
        return replace(self, polynomial=np.append(self.polynomial, 0.0), carrier=np.append(self.carrier, 0.0))

    def _parts(self, each: Floats) -> tuple[Floats, Floats, Floats]:
        """Return what in `each` (d + 1 + 2k, ...) belongs to the polynomial, to the cosines and to the sines."""
        first, last = self.polynomial.size, self.polynomial.size + self.orders.size
        return each[:first], each[first:last], each[last:]

    def _powers_at(self, times: Floats) -> Floats:
        """Return (d + 1, n): 1, x, x² ... at `times` (n,) s."""
        return _powers((times - self.centre) / self.span, self.polynomial.size)

    def _turns(self, powers: Floats) -> Floats:
        """Return (2k, n): cosines, then sines, of the orders of the mechanical angle; 1 to k cheaper, by recurrence."""
        mechanical, count = self._mechanical(powers), self.orders.size
        if count and self.orders.tolist() == list(range(1, count + 1)):
            return harmonics(mechanical, count)
        turned = np.multiply.outer(self.orders, mechanical)
        return np.concatenate([np.cos(turned), np.sin(turned)])

    def _mechanical(self, powers: Floats) -> Floats:
        """Return the mechanical angle (n,) from the centre on, rad; only ripple is measured against it."""
        mechanical: Floats = powers[1] * (self.carrier @ powers[:-1])
        return mechanical


def steady_motion(times: Floats, span: float, angle: Floats, pole_pairs: int) -> tuple[ShaftMotion, Floats]:
    """Return the motion that fits `angle` (n,) rad at `times` (n,) s best, and what it leaves (n,) rad.

    It has ripple of the usual orders.

    Source: phase regression, S. Kay, Estimation Theory, ch. 3 (from memory); the orders derived.
    """
    centre, orders = 0.5 * float(times[0] + times[-1]), np.array(ripple_orders(pole_pairs))
    polynomial = _regress(_powers((times - centre) / span, DEGREE + 1), angle)
    nothing = np.zeros(orders.size)
    for _ in range(2):  # the second time with a carrier that ripple no longer bends
        motion = ShaftMotion(centre, span, polynomial[1:] / pole_pairs, np.zeros(DEGREE + 1), orders,
                             np.zeros(orders.size, dtype=bool), nothing, nothing)
        columns = motion.columns(times)
        motion = motion.moved(_regress(columns, angle))
        polynomial = motion.polynomial
    # An offset of a channel passes for ripple of whole electrical orders here; the waves will tell.
    told = (orders % pole_pairs != 0).astype(float)
    motion = replace(motion, in_phase=told * motion.in_phase, quadrature=told * motion.quadrature)
    return motion, angle - motion.on(columns)[0]


def _powers(x: Floats, count: int) -> Floats:
    """Return (count, n): 1, x, x² ..."""
    powers = np.ones((count, x.size))
    for power in range(1, count):
        np.multiply(powers[power - 1], x, out=powers[power])
    return powers


def _derivative(factors: Floats) -> Floats:
    """Return the factors of 1, x ... of the derivative of a polynomial with `factors` (d,) of x, x² ..."""
    derivative: Floats = factors * np.arange(1, factors.size + 1)
    return derivative


def _regress(columns: Floats, angle: Floats) -> Floats:
    return np.asarray(np.linalg.solve(columns @ columns.T, columns @ angle), dtype=np.float64)
