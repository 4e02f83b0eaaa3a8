"""The closed table of units: how a number crosses the edge between a person and SI."""

from math import pi

from station.errors import UsageError

RPM = 2 * pi / 60                  # rad/s per r/min
VOLT_PER_KRPM = 1 / (1000 * RPM)   # V s/rad per V/krpm
DEGREE = pi / 180                  # rad per degree

# unit text -> (dimension, factor to SI). Temperatures are in °C throughout, also inside:
# every formula here uses differences or constants defined on that scale.
_UNITS: dict[str, tuple[str, float]] = {
    "1": ("count", 1.0), "%": ("ratio", 0.01),
    "V": ("voltage", 1.0), "mV": ("voltage", 1e-3), "kV": ("voltage", 1e3),
    "A": ("current", 1.0), "mA": ("current", 1e-3), "uA": ("current", 1e-6),
    "ohm": ("resistance", 1.0), "mohm": ("resistance", 1e-3), "kohm": ("resistance", 1e3),
    "Mohm": ("resistance", 1e6), "Gohm": ("resistance", 1e9),
    "s": ("time", 1.0), "ms": ("time", 1e-3), "us": ("time", 1e-6), "ns": ("time", 1e-9),
    "Hz": ("frequency", 1.0), "kHz": ("frequency", 1e3),
    "rpm": ("rotational speed", RPM), "rad/s": ("rotational speed", 1.0),
    "deg": ("angle", DEGREE), "rad": ("angle", 1.0),
    "V/krpm": ("voltage per speed", VOLT_PER_KRPM), "V s/rad": ("voltage per speed", 1.0),
    "mV s/rad": ("voltage per speed", 1e-3),
    "mV s": ("flux linkage", 1e-3), "V s": ("flux linkage", 1.0), "Wb": ("flux linkage", 1.0),
    "N m/A": ("torque per current", 1.0), "mN m/A": ("torque per current", 1e-3),
    "N m": ("torque", 1.0), "mN m": ("torque", 1e-3),
    "degC": ("temperature", 1.0),
}

# How a unit is printed for people; file texts stay in plain ASCII.
_PRINTED = {"ohm": "Ω", "mohm": "mΩ", "kohm": "kΩ", "Mohm": "MΩ", "Gohm": "GΩ", "us": "µs", "uA": "µA",
            "deg": "°", "degC": "°C", "1": "", "rpm": "r/min"}


def names() -> list[str]:
    """Return every unit text that files may use."""
    return list(_UNITS)


def dimension(unit: str) -> str:
    """Return the dimension of `unit`, or raise UsageError for a unit outside the table."""
    return _entry(unit)[0]


def factor(from_unit: str, to_unit: str) -> float:
    """Return what a number in `from_unit` is multiplied by to be in `to_unit`.

    Raises
    ------
    UsageError
        An unknown unit, or two units of different dimension.
    """
    (from_dimension, from_si), (to_dimension, to_si) = _entry(from_unit), _entry(to_unit)
    if from_dimension != to_dimension:
        raise UsageError(f"{from_unit} cannot be turned into {to_unit}", where="unit",
                         expected=f"a unit of {to_dimension}", got=f"a unit of {from_dimension}",
                         remedy="Use a unit of the same dimension.")
    return from_si / to_si


def to_si(number: float, unit: str) -> float:
    """Return `number`, given in `unit`, in SI (temperatures stay in °C)."""
    return number * _entry(unit)[1]


def from_si(number: float, unit: str) -> float:
    """Return `number`, given in SI, in `unit`."""
    return number / _entry(unit)[1]


def printed(unit: str) -> str:
    """Return the sign of `unit` as people read it on paper and screens."""
    return _PRINTED.get(unit, unit)


def _entry(unit: str) -> tuple[str, float]:
    try:
        return _UNITS[unit]
    except KeyError:
        raise UsageError("unknown unit", where="unit", expected="one of " + ", ".join(_UNITS), got=repr(unit),
                         remedy="Spell the unit as in that list.") from None
