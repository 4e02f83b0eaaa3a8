"""What befell a run that came to no result, as a cause that each operator can read in their own language."""

from station.bench.roles import ROLES, SENSOR_DIGITIZER
from station.errors import StationError
from station.judgement.cause import Cause

# What errors call an instrument, where that is not the name of its role.
ROLE_OF = {"sensor supply": "supply", "insulation tester": "insulation", "drive (stop)": "drive"}
UNSAFE = Cause("unsafe")
INTERRUPTED = Cause("interrupted")


def cause_of(trouble: BaseException) -> Cause:
    """Return what stopped a run; one that is no error of ours was interrupted."""
    return Cause(trouble.code, instrument_of(trouble)) if isinstance(trouble, StationError) else INTERRUPTED


def instrument_of(error: StationError) -> str:
    """Return the role of the instrument that an error concerns; where it happened, if that is no instrument."""
    place = error.where.partition(" at ")[0]
    role = ROLE_OF.get(place, place)
    return role if role in (*ROLES, SENSOR_DIGITIZER) else error.where
