"""The curve that a study fits to the values of a characteristic, to be drawn over them."""

import numpy as np
from numpy.typing import NDArray

from station.study.characteristic_study import CharacteristicStudy

Floats = NDArray[np.float64]


def fitted_curve(one: CharacteristicStudy, places: Floats) -> tuple[str, Floats] | None:
    """Return name and density of the fit of a magnitude, or of the normal curve of a value; None where there is none.

    `places` are in the unit of the value, the density per that unit.
    """
    if one.fit:
        with np.errstate(divide="ignore"):
            density = one.fit.density(places)
        return f"{one.fit.family} fit", np.where(np.isfinite(density), density, 0.0)
    if one.capability and one.capability.overall.s > 0:
        s, mean = one.capability.overall.s, one.capability.mean
        return "normal", np.exp(-((places - mean) / s) ** 2 / 2) / (s * np.sqrt(2 * np.pi))
    return None
