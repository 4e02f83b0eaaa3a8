"""The motion of the shaft as few numbers: a polynomial in time and ripple at orders of the revolution."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
MECHANICAL_ORDERS = (1, 2, 3)  # of speed ripple: unbalance, misalignment and coupling of the drive
POLYNOMIAL = 3                 # angle = 1, x, x²: place, speed and drift; more would cost precision at the ends


def ripple_orders(pole_pairs: int) -> tuple[float, ...]:
    """Return the mechanical orders of speed ripple that no fault of the lines can imitate.

    Whole electrical orders are left out: a channel offset or unlike lines would pass for ripple there.
    """
    return tuple(float(k) for k in MECHANICAL_ORDERS if k % pole_pairs)


@dataclass(frozen=True, slots=True)
class ShaftMotion:
    """Electrical rotor angle (rad) as coefficients on `columns`.

    x = (t - centre) / span runs from -1/2 to 1/2 over the capture. Ripple runs with the mechanical
    angle, of which `carrier` (2,) are the factors of x and x²; `orders` (k,) are counted per
    revolution, and `tuned` (k,) says which of them are found in the capture rather than known.
    `coefficients` (3 + 2k,): polynomial, then cosines, then sines.
    """

    centre: float
    span: float
    carrier: Floats
    orders: Floats
    tuned: NDArray[np.bool_]
    coefficients: Floats

    def columns(self, times: Floats) -> Floats:
        """Return (3 + 2k, n): what each coefficient adds to the angle at `times` (n,) s."""
        x = (times - self.centre) / self.span
        turned = np.multiply.outer(self.orders, self._mechanical(x))
        return np.vstack([np.ones_like(x), x, x * x, np.cos(turned), np.sin(turned)])

    def slopes(self, times: Floats) -> Floats:
        """Return (3 + 2k, n): what each coefficient adds to the angular speed, 1/s."""
        x = (times - self.centre) / self.span
        turned = np.multiply.outer(self.orders, self._mechanical(x))
        rate = np.multiply.outer(self.orders, self.carrier[0] + 2 * self.carrier[1] * x)
        slopes: Floats = np.vstack([np.zeros_like(x), np.ones_like(x), 2 * x, -rate * np.sin(turned),
                                    rate * np.cos(turned)]) / self.span
        return slopes

    @property
    def movable(self) -> NDArray[np.intp]:
        """Indices of the tuned orders that have an amplitude, without which their place has no effect."""
        return np.flatnonzero(self.tuned & np.any(np.split(self.coefficients[POLYNOMIAL:], 2), axis=0))

    def order_columns(self, times: Floats) -> Floats:
        """Return (movable orders, n): how the angle moves with each of them, rad."""
        index = self.movable
        mechanical = self._mechanical((times - self.centre) / self.span)
        turned = np.multiply.outer(self.orders[index], mechanical)
        cosines, sines = np.split(self.coefficients[POLYNOMIAL:, None], 2)
        moved: Floats = mechanical * (sines[index] * np.cos(turned) - cosines[index] * np.sin(turned))
        return moved

    def at(self, times: Floats) -> tuple[Floats, Floats]:
        """Return angle (n,) rad and angular speed (n,) rad/s at `times` (n,) s."""
        x = (times - self.centre) / self.span
        turned = np.multiply.outer(self.orders, self._mechanical(x))
        cosine, sine = np.cos(turned), np.sin(turned)
        place, rate, drift = self.coefficients[:POLYNOMIAL]
        in_phase, quadrature = np.split(self.coefficients[POLYNOMIAL:], 2)
        angle = place + x * (rate + drift * x) + in_phase @ cosine + quadrature @ sine
        wobble = (self.orders * quadrature) @ cosine - (self.orders * in_phase) @ sine
        speed = (rate + 2 * drift * x + (self.carrier[0] + 2 * self.carrier[1] * x) * wobble) / self.span
        return angle, speed

    def moved(self, by: Floats) -> "ShaftMotion":
        """Return the motion with `by` (3 + 2k,) added to its coefficients."""
        return replace(self, coefficients=self.coefficients + by)

    def with_order(self, order: float, apart: float) -> "ShaftMotion":
        """Return the same motion with ripple of `order` tuned: a new one, or a known one less than `apart` away."""
        distance = np.abs(self.orders - order)
        if distance.min(initial=np.inf) < apart:
            return replace(self, tuned=self.tuned | (distance == distance.min()))
        cosine_end = POLYNOMIAL + self.orders.size
        return replace(self, orders=np.append(self.orders, order), tuned=np.append(self.tuned, True),
                       coefficients=np.insert(self.coefficients, [cosine_end, self.coefficients.size], 0.0))

    @property
    def cycle(self) -> float:
        """Difference of order, per revolution, that makes one cycle over the whole capture."""
        return float(2 * np.pi / abs(self.carrier[0]))

    def _mechanical(self, x: Floats) -> Floats:
        """Return the mechanical angle from the centre on, rad; only ripple is measured against it."""
        mechanical: Floats = self.carrier[0] * x + self.carrier[1] * x * x
        return mechanical


def steady_motion(times: Floats, span: float, angle: Floats, pole_pairs: int) -> ShaftMotion:
    """Return the motion that fits `angle` (n,) rad at `times` (n,) s best, with ripple of the usual orders.

    Source: phase regression, S. Kay, Estimation Theory, ch. 3 (from memory); the orders derived.
    """
    centre = 0.5 * float(times[0] + times[-1])
    plain = ShaftMotion(centre, span, np.zeros(2), np.zeros(0), np.zeros(0, dtype=bool), np.zeros(POLYNOMIAL))
    polynomial = _regress(plain.columns(times), angle)
    orders = np.array(ripple_orders(pole_pairs))
    motion = replace(plain, carrier=polynomial[1:] / pole_pairs, orders=orders, tuned=np.zeros(orders.size, dtype=bool))
    coefficients = _regress(motion.columns(times), angle)
    # The carrier again, now that ripple no longer bends the polynomial.
    motion = replace(motion, carrier=coefficients[1:POLYNOMIAL] / pole_pairs)
    return replace(motion, coefficients=_regress(motion.columns(times), angle))


def _regress(columns: Floats, angle: Floats) -> Floats:
    return np.asarray(np.linalg.solve(columns @ columns.T, columns @ angle), dtype=np.float64)
