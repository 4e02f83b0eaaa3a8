"""The error of an instrument as somebody states it off a calibration certificate: "0.2%", "150ppm", "5 mV"."""

import re

from station.audit.recall import InstrumentError
from station.audit.trace import Question
from station.errors import UsageError
from station.units import to_si

_QUANTITY = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*", re.ASCII)
_RELATIVE = {"": 1.0, "%": 0.01, "ppm": 1e-6}


def stated_error(gain: str, offset: str, timebase: str) -> InstrumentError:
    """Return the error that the three texts state; an empty one states none.

    Raises
    ------
    UsageError
        A text is no number with its unit, or none states anything.
    """
    error = InstrumentError(_relative("gain error", gain), _relative("timebase error", timebase),
                            _absolute("offset error", offset))
    if error == InstrumentError():
        raise UsageError("no error stated", where="recall", got="none", expected="an error of gain, offset or timebase",
                         remedy="Take it from the certificate that found the instrument off.")
    return error


def require_instrument(question: Question) -> None:
    """Raise UsageError unless `question` names an instrument, as a recall must."""
    if not question.instrument and not question.certificate:
        raise UsageError("no instrument named", where="recall", expected="an instrument or a calibration certificate",
                         got="neither", remedy="Name the instrument by its serial number; a trace lists its tests.")


def _relative(name: str, text: str) -> float:
    number, unit = _parts(name, text)
    if unit not in _RELATIVE:
        raise _no_quantity(name, text, "a share such as 0.2%, 150ppm or 0.002")
    return number * _RELATIVE[unit]


def _absolute(name: str, text: str) -> float:
    number, unit = _parts(name, text)
    return to_si(number, unit) if text else 0.0


def _parts(name: str, text: str) -> tuple[float, str]:
    if not text:
        return 0.0, ""
    found = _QUANTITY.fullmatch(text)
    if found is None:
        raise _no_quantity(name, text, 'a number with its unit, such as "5 mV"')
    return float(found[1]), found[2]


def _no_quantity(name: str, text: str, expected: str) -> UsageError:
    return UsageError("error of the instrument cannot be read", where=name, expected=expected, got=repr(text),
                      remedy="Write a number and its unit.")
