"""The curve that a study fits to the values of a characteristic, to be drawn over them."""

import numpy as np
from numpy.typing import NDArray

from station.study.characteristic_study import CharacteristicStudy
from station.study.distribution import far_outside

Floats = NDArray[np.float64]


def fitted_curve(one: CharacteristicStudy, places: Floats) -> tuple[str, Floats] | None:
    """Return name and density of the fit of a magnitude, or of the normal curve of a value; None where there is none.

    `places` are in the unit of the value, the density per that unit. Motors far outside all others have no say in it,
    as the curve shows the process.
    """
    values = one.sample.values
    usual = np.delete(values, far_outside(values))
    share = usual.size / max(values.size, 1)
    if one.usual_fit:
        with np.errstate(divide="ignore"):
            density = one.usual_fit.density(places)
        return f"{one.usual_fit.family} fit", share * np.where(np.isfinite(density), density, 0.0)
    s = float(usual.std(ddof=1)) if one.capability and usual.size > 1 else 0.0
    if s > 0:
        return "normal", share * np.exp(-((places - usual.mean()) / s) ** 2 / 2) / (s * np.sqrt(2 * np.pi))
    return None
