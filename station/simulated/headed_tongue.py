"""A command set with headers in front of answers, memory in windows of big-endian codes, padded block lengths."""

from collections.abc import Sequence

import numpy as np

from station.simulated.accents import Phrase, Tongue, Words, block_body, is_over, phrase, tell
from station.simulated.scpi_error import ScpiError
from station.simulated.scpi_instrument import ScpiInstrument

MOST_IN_WINDOW = 1000       # samples
_NUMBER = r"(?P<number>[-+.0-9Ee]+)"
_CHANNEL = "INPUT(?P<channel>[1-6])"


def _phrases(native: ScpiInstrument) -> Sequence[Phrase]:
    kinds = {"DIGITIZER": _digitizer, "OHMMETER": _ohmmeter, "SUPPLY": _supply, "INSULATION": _insulation,
             "THERMOMETER": _thermometer, "GUARD": _guard}
    return [phrase(native, r"ERRORS:NEXT\?", "SYST:ERR?"), *kinds[native.model](native)]


HEADED = Tongue("headed", _phrases, headers=True)


def _digitizer(native: ScpiInstrument) -> list[Phrase]:
    window = [1, 1]         # first and last sample of the next answer, counted from 1

    def set_window(words: Words) -> bytes | None:
        first, last = int(words["first"]), int(words["last"])
        if not 1 <= first <= last < first + MOST_IN_WINDOW:
            native.report(ScpiError(-222))
            return None
        window[:] = first, last
        return None

    def read(words: Words) -> bytes | None:
        block = tell(native, f"FORM:BORD NORM;:TRAC? CH{words['channel']}")
        if not block:
            return None
        codes = np.frombuffer(block_body(block), dtype=">i2")[window[0] - 1:window[1]]
        return b"#9" + f"{codes.nbytes:09d}".encode("ascii") + codes.tobytes()

    return [
        phrase(native, f"{_CHANNEL}:USE", "INP{channel} ON"),
        phrase(native, f"{_CHANNEL}:PEAK {_NUMBER}", "SENS:VOLT{channel}:RANG {number}"),
        phrase(native, rf"{_CHANNEL}:PEAK\?", "SENS:VOLT{channel}:RANG?"),
        phrase(native, rf"{_CHANNEL}:STEP\?", "SENS:VOLT{channel}:SCAL?"),
        phrase(native, rf"{_CHANNEL}:ZERO\?", "SENS:VOLT{channel}:OFFS?"),
        phrase(native, f"MEMORY:LENGTH {_NUMBER}", "SENS:SWE:POIN {number}"),
        phrase(native, r"MEMORY:LENGTH\?", "SENS:SWE:POIN?"),
        phrase(native, f"MEMORY:TICK {_NUMBER}", "SENS:SWE:TINT {number}"),
        phrase(native, r"MEMORY:TICK\?", "SENS:SWE:TINT?"),
        Phrase(r"MEMORY:WINDOW (?P<first>\d+),(?P<last>\d+)", set_window),
        Phrase(rf"MEMORY:{_CHANNEL}\?", read), phrase(native, "START", "INIT"), phrase(native, "STOP", "ABOR"),
        phrase(native, r"STATE\?", "STAT:OPER:COND?", lambda answer: "BUSY" if int(answer) & 8 else "READY"),
    ]


def _ohmmeter(native: ScpiInstrument) -> list[Phrase]:
    return [phrase(native, "PAIR (?P<pair>[123])", "ROUT:CLOS (@{pair})"),
            phrase(native, "PAIR 0", "ROUT:OPEN:ALL"),
            phrase(native, r"OHMS\?", "MEAS:FRES?", lambda answer: "9999" if is_over(answer) else answer)]


def _supply(native: ScpiInstrument) -> list[Phrase]:
    return [phrase(native, f"LEVEL:VOLTS {_NUMBER}", "SOUR:VOLT {number}"),
            phrase(native, f"LEVEL:AMPERES {_NUMBER}", "SOUR:CURR {number}"),
            phrase(native, "OUTPUT (?P<state>ON|OFF)", "OUTP {state}"),
            phrase(native, r"OUTPUT\?", "OUTP?", lambda answer: "LIVE" if answer == "1" else "DEAD"),
            phrase(native, r"SHOW:VOLTS\?", "MEAS:VOLT?"), phrase(native, r"SHOW:AMPERES\?", "MEAS:CURR?"),
            phrase(native, r"TRIPPED\?", "OUTP:PROT:TRIP?"), phrase(native, "TRIP:RESET", "OUTP:PROT:CLE")]


def _insulation(native: ScpiInstrument) -> list[Phrase]:
    return [phrase(native, f"TEST:VOLTS {_NUMBER}", "SOUR:VOLT {number}"),
            phrase(native, f"TEST:DWELL {_NUMBER}", "TRIG:DEL {number}"),
            phrase(native, r"TEST:DWELL\?", "TRIG:DEL?"), phrase(native, "TEST:BEGIN", "OUTP ON"),
            phrase(native, "TEST:END", "OUTP OFF"), phrase(native, r"SHOW:VOLTS\?", "MEAS:VOLT?"),
            phrase(native, r"SHOW:OHMS\?", "MEAS:RES?", lambda answer: "+9.9E37" if is_over(answer) else answer)]


def _thermometer(native: ScpiInstrument) -> list[Phrase]:
    return [phrase(native, r"CELSIUS(?P<number>[12])\?", "MEAS:TEMP? (@{number})")]


def _guard(native: ScpiInstrument) -> list[Phrase]:
    return [phrase(native, "LAMP (?P<state>ON|OFF)", "OUTP {state}"), phrase(native, r"LINES\?", "SENS:DIG:DATA?")]
