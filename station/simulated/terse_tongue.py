"""A terse command set: CR NL ends, 8 bit codes with a ten-field preamble, texts for over range, *OPC? completion."""

from collections.abc import Sequence

import numpy as np

from station.motor import LINES
from station.simulated.accents import Phrase, Tongue, Words, block_body, is_over, phrase, tell
from station.simulated.scpi_instrument import ScpiInstrument
from station.simulated.scpi_value import answer_block

_INPUTS = "ABCDEF"
_LEADS = dict(zip(("UV", "VW", "WU"), range(1, len(LINES) + 1), strict=True))
_INPUT = f"(?P<input>[{_INPUTS}])"
_NUMBER = r"(?P<number>[-+.0-9Ee]+)"


def _phrases(native: ScpiInstrument) -> Sequence[Phrase]:
    kinds = {"DIGITIZER": _digitizer, "OHMMETER": _ohmmeter, "SUPPLY": _supply, "INSULATION": _insulation,
             "THERMOMETER": _thermometer, "GUARD": _guard}
    errors = phrase(native, r"FAULT\?", "SYST:ERR?")
    quiet = Phrase("VERBOSE OFF", lambda _: None)     # it never is verbose
    return [errors, quiet, *kinds[native.model](native)]


TERSE = Tongue("terse", _phrases, answer_end=b"\r\n", wants_return=True)


def _digitizer(native: ScpiInstrument) -> list[Phrase]:
    def describe(words: Words) -> bytes | None:
        number = _INPUTS.index(words["input"]) + 1
        points, interval, scale = (tell(native, question).decode("ascii") for question in (
            "SENS:SWE:POIN?", "SENS:SWE:TINT?", f"SENS:VOLT{number}:SCAL?"))
        coarse = float(scale) * 256
        # Dropping the low byte rounds down: on the mean a code stands half a coarse step above its foot.
        return f"{words['input']},{points},{interval},0,V,{coarse:.9E},{coarse / 2:.9E},128,0,255".encode("ascii")

    def dump(words: Words) -> bytes | None:
        block = tell(native, f"FORM:BORD SWAP;:TRAC? CH{_INPUTS.index(words['input']) + 1}")
        if not block:
            return None
        codes = np.frombuffer(block_body(block), dtype="<i2")
        return answer_block(((codes >> 8) + 128).astype(np.uint8).tobytes())

    def by_input(heard: str, means: str, said: float = 1.0) -> Phrase:
        def obey(words: Words) -> bytes | None:
            filled = means.format(number=words.get("number", ""), half=float(words.get("number") or 0) / 2,
                                  channel=_INPUTS.index(words["input"]) + 1)
            answer = tell(native, filled)
            return f"{float(answer) * said:.9E}".encode("ascii") if answer else None
        return Phrase(heard, obey)

    def set_rate(words: Words) -> bytes | None:
        tell(native, f"SENS:SWE:TINT {1 / float(words['number']):.12g}")
        return None

    return [
        by_input(f"{_INPUT}:ON", "INP{channel} ON"), by_input(rf"{_INPUT}:SPAN\?", "SENS:VOLT{channel}:RANG?", 2.0),
        by_input(f"{_INPUT}:SPAN {_NUMBER}", "SENS:VOLT{channel}:RANG {half}"),
        Phrase(f"RATE {_NUMBER}", set_rate),
        phrase(native, r"RATE\?", "SENS:SWE:TINT?", lambda answer: f"{1 / float(answer):.9E}"),
        phrase(native, f"RECORD {_NUMBER}", "SENS:SWE:POIN {number}"),
        phrase(native, r"RECORD\?", "SENS:SWE:POIN?"), phrase(native, "GO", "INIT"),
        phrase(native, "HALT", "ABOR"), Phrase(rf"DESCRIBE\? {_INPUT}", describe),
        Phrase(rf"DUMP\? {_INPUT}", dump),
    ]


def _ohmmeter(native: ScpiInstrument) -> list[Phrase]:
    def connect(words: Words) -> bytes | None:
        tell(native, f"ROUT:CLOS (@{_LEADS[words['leads']]})")
        return None

    return [Phrase("LEADS (?P<leads>UV|VW|WU)", connect), phrase(native, "LEADS NONE", "ROUT:OPEN:ALL"),
            phrase(native, r"READ\?", "MEAS:FRES?", lambda a: "OL" if is_over(a) else f"{float(a) * 1e3:.7g} MILLIOHM")]


def _supply(native: ScpiInstrument) -> list[Phrase]:
    def read(_: Words) -> bytes:
        volts, amperes = (float(tell(native, question)) for question in ("MEAS:VOLT?", "MEAS:CURR?"))
        return f"{volts:.6g},{amperes:.6g}".encode("ascii")

    return [phrase(native, f"VSET {_NUMBER}", "SOUR:VOLT {number}"),
            phrase(native, f"ILIM {_NUMBER}", "SOUR:CURR {number}"), Phrase(r"READ\?", read),
            phrase(native, "OUT (?P<state>[01])", "OUTP {state}"),
            phrase(native, r"OUT\?", "OUTP?", lambda answer: "ON" if answer == "1" else "OFF")]


def _insulation(native: ScpiInstrument) -> list[Phrase]:
    def set_volts(words: Words) -> bytes | None:
        tell(native, f"SOUR:VOLT {float(words['number']) * 1e3:.9g}")
        return None

    def set_hold(words: Words) -> bytes | None:
        tell(native, f"TRIG:DEL {float(words['number']) / 1e3:.9g}")
        return None

    return [Phrase(f"KV {_NUMBER}", set_volts), Phrase(f"HOLD {_NUMBER}", set_hold),
            phrase(native, r"HOLD\?", "TRIG:DEL?", lambda answer: f"{float(answer) * 1e3:.6f} MS"),
            phrase(native, "HV (?P<state>ON|OFF)", "OUTP {state}"), phrase(native, r"VOLTS\?", "MEAS:VOLT?"),
            phrase(native, r"MEGOHMS\?", "MEAS:RES?",
                   lambda answer: ">99999" if is_over(answer) else f"{float(answer) / 1e6:.6g}")]


def _thermometer(native: ScpiInstrument) -> list[Phrase]:
    return [phrase(native, r"PROBE(?P<number>[12])\?", "MEAS:TEMP? (@{number})",
                   lambda answer: "----,C" if is_over(answer) else f"{float(answer):.3f},C")]


def _guard(native: ScpiInstrument) -> list[Phrase]:
    return [phrase(native, "LAMP (?P<state>[01])", "OUTP {state}"),
            phrase(native, r"INPUTS\?", "SENS:DIG:DATA?", lambda answer: f"IN,{answer}")]
