"""What a limit file says of a motor type, apart from its limits."""

from dataclasses import dataclass
from typing import Literal

SENSORS = ("a", "b", "c")
LINES = ("ab", "bc", "ca")

Winding = Literal["star", "delta"]


@dataclass(frozen=True, slots=True)
class HallLayout:
    """Three Hall sensors: their spacing and the rotor angle at which each goes high.

    Angles are rotor electrical angles in degrees: zero at the rising zero of the fundamental of
    v_ab divided by signed speed, growing in the declared forward direction.
    """

    spacing_deg: Literal[60, 120]
    rise_deg: tuple[float, float, float]  # a, b, c


@dataclass(frozen=True, slots=True)
class Reference:
    """The temperature at which limits hold, and how values are brought to it."""

    temperature_c: float = 20.0       # °C
    magnet_per_k: float = 0.0         # relative change of the back-EMF constant per kelvin
    copper_constant_c: float = 235.0  # °C; R2/R1 = (k + T2)/(k + T1)


@dataclass(frozen=True, slots=True)
class MotorType:
    """A kind of motor, with the conventions by which its measurements are named."""

    name: str
    pole_pairs: int
    winding: Winding
    rated_voltage: float              # V
    forward: Literal["clockwise", "counter-clockwise"]
    viewed_from: Literal["drive end", "opposite end"]
    sensors: HallLayout | None = None
    reference: Reference = Reference()
    max_speed: float | None = None    # rad/s that the type bears; None when its limit file does not say
