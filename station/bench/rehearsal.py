"""Playing every template of a dialect to one instrument, and telling what was sent, answered and understood."""

import math
from collections.abc import Callable, Generator, Iterator, Mapping
from dataclasses import dataclass

from station.bench.dialect import Dialect
from station.bench.digitizer import ScpiDigitizer, Wiring
from station.bench.instrument import ScpiInstrument
from station.bench.roles import Role
from station.bench.scpi_session import ScpiSession
from station.clock import Clock
from station.errors import BenchError, StationError
from station.units import RPM

LOW_VOLTS = 50.0            # of an insulation tester that is played against a real resource
DWELL = 0.5                 # s
DISCHARGED_BELOW = 25.0     # V
DISCHARGED_WITHIN = 10.0    # s
POLL = 0.01                 # s
SETTLED_WITHIN = 20.0       # s beyond the span of a capture, within which it must be over
SAMPLES, INTERVAL, RANGE = 2500, 1e-5, 10.0     # of the rehearsed capture, moved into the dialect's limits


@dataclass(frozen=True, slots=True)
class Turn:
    """One template played: what was understood of it, or the fault, or why it was not played."""

    name: str
    understood: str = ""
    fault: StationError | None = None
    left_out: str = ""


@dataclass(frozen=True, slots=True)
class _Part:
    """One template of a role's part: its fields, what its answer is, and whether it can hurt."""

    name: str
    fields: Mapping[str, float | str]
    answer: str = ""        # "": a command; "number", "bits" or "text"
    hazard: bool = False    # motion or dangerous voltage


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """Plays the templates of `dialect` over `session`; what can hurt only when `hazards_allowed`.

    Whatever could have been switched on or begun is switched off at the end, on every way out.
    """

    role: Role
    session: ScpiSession
    dialect: Dialect
    clock: Clock
    hazards_allowed: bool = False
    channel: int = 1

    def play(self) -> Generator[Turn, None, None]:
        """Yield a turn per template, in the order in which a test uses them; the first is the identity."""
        yield (first := self._turn("identity", lambda: str(self.session.identify())))
        if first.fault is not None:
            return
        yield self._turn("self-test", self._self_test)
        try:
            yield from self._capture() if self.role == "digitizer" else self._parts()
            if self.role == "insulation" and self.hazards_allowed:
                yield self._turn("discharge", self._discharged)
        finally:
            self._switch_off()

    def _turn(self, name: str, act: Callable[[], str]) -> Turn:
        try:
            return Turn(name, act())
        except StationError as error:
            return Turn(name, fault=error)

    def _self_test(self) -> str:
        answer = ScpiInstrument(self.session, self.dialect).self_test()
        if answer:
            raise BenchError("the self-test failed", where=f"{self.role} at {self.session.resource}",
                             expected="0", got=answer, remedy="Have the instrument repaired.")
        return "passed" if answer is None else "the dialect names none"

    def _parts(self) -> Iterator[Turn]:
        for part in _PARTS[self.role](self.dialect):
            if not self.dialect.has(part.name):
                continue
            if part.hazard and not self.hazards_allowed:
                yield Turn(part.name, left_out="not played: it can move a shaft or switch a dangerous voltage on")
            else:
                yield self._turn(part.name, lambda part=part: self._act(part))   # type: ignore[misc]

    def _act(self, part: _Part) -> str:
        instrument = ScpiInstrument(self.session, self.dialect)
        deadline = self.session.deadline + 2 * DWELL
        decoded = part.answer == "text" and part.name in self.dialect.answers
        if part.answer == "number" or decoded:
            number = instrument.reading(part.name, deadline, **part.fields)
            return f"{number:.9g}" if math.isfinite(number) else ("over range" if number > 0 else "under range")
        if part.answer == "bits":
            return f"bits {instrument.bits(part.name):b}"
        if part.answer == "text":
            return repr(self.session.ask(self.dialect.line(part.name, **part.fields)))
        self.session.command(self.dialect.line(part.name, **part.fields))
        return "accepted"

    def _capture(self) -> Iterator[Turn]:
        digitizer = ScpiDigitizer(self.session, self.dialect, {"signal": Wiring(self.channel, 1.0, 0.0, 0.0)},
                                  self.clock)
        yield from self._switch()
        size = self.dialect.within("points", max(SAMPLES, 2 * self.dialect.block.batch + 1))
        points, interval = int(size), self.dialect.within("interval", INTERVAL)

        def configure() -> str:
            digitizer.configure({"signal": self.dialect.within("range", RANGE)}, interval, points)
            return f"{points} samples every {interval:g} s, read back alike"

        for name, act in (("configure", configure), ("initiate", lambda: self._taken(digitizer, points * interval)),
                          ("fetch", lambda: _fetched(digitizer))):
            turn = self._turn(name, act)
            yield turn
            if turn.fault is not None:
                return

    def _switch(self) -> Iterator[Turn]:
        """Play the switch before the inputs, of a digitizer that has one."""
        for part in (_Part("select", {"position": 1}), _Part("selected", {"position": 1}, "number")):
            if self.dialect.has(part.name):
                yield self._turn(part.name, lambda part=part: self._act(part))   # type: ignore[misc]

    def _taken(self, digitizer: ScpiDigitizer, span: float) -> str:
        digitizer.initiate()
        end = self.clock.monotonic() + span + SETTLED_WITHIN
        while not digitizer.is_done():
            if self.clock.monotonic() > end:
                raise BenchError("the capture never ends", where=f"digitizer at {self.session.resource}",
                                 expected=f"its end within {span + SETTLED_WITHIN:g} s", got="still busy",
                                 remedy="Check completion, the status template and its number in the dialect.")
            self.clock.pause(POLL)
        return "captured"

    def _discharged(self) -> str:
        self._switch_off()
        end = self.clock.monotonic() + DISCHARGED_WITHIN
        while not abs(volts := ScpiInstrument(self.session, self.dialect).finite("voltage")) < DISCHARGED_BELOW:
            if self.clock.monotonic() > end:
                raise BenchError("the leads are not discharged", where=f"insulation at {self.session.resource}",
                                 expected=f"below {DISCHARGED_BELOW:g} V", got=f"{volts:g} V",
                                 remedy="Keep the guard closed; do not touch the terminals; call maintenance.")
            self.clock.pause(POLL)
        return f"discharged, {volts:.3g} V left"

    def _switch_off(self) -> None:
        for name in ("stop", "off", "abort", "disarm"):
            if self.dialect.has(name):
                self.session.command(self.dialect.line(name))


def _fetched(digitizer: ScpiDigitizer) -> str:
    codes, channels = digitizer.fetch()
    taken, channel = codes["signal"], channels["signal"]
    return (f"{taken.size} codes from {taken.min()} to {taken.max()}; "
            f"volts = {channel.scale:.6g} x code + {channel.offset:.6g}")


def _drive(dialect: Dialect) -> list[_Part]:
    def wire(speed: float) -> float:
        return dialect.to_wire("speed", speed)

    return [
        _Part("set_limit", {"speed": wire(100 * RPM)}), _Part("set_watchdog", {"seconds": 5.0}),
        _Part("set_ramp", {"ramp": wire(100 * RPM)}), _Part("set_speed", {"speed": wire(0.0)}),
        _Part("clear", {}, hazard=True), _Part("on", {}, hazard=True), _Part("is_on", {}, "number"),
        _Part("status", {}, "bits"), _Part("speed", {}, "number"), _Part("torque", {}, "number"),
        _Part("trip", {}, "text"), _Part("stop", {}), _Part("off", {}),
    ]


def _ohmmeter(dialect: Dialect) -> list[_Part]:
    pair = dialect.numbers["pair_ab"]
    return [_Part("release", {}), _Part("connect", {"pair": pair}), _Part("resistance", {"pair": pair}, "number"),
            _Part("release", {})]


def _supply(_: Dialect) -> list[_Part]:
    return [_Part("clear", {}), _Part("set_voltage", {"volts": 1.0}), _Part("set_current_limit", {"amperes": 0.05}),
            _Part("on", {}), _Part("is_on", {}, "number"), _Part("voltage", {}, "number"),
            _Part("current", {}, "number"), _Part("trip", {}, "text"), _Part("off", {})]


def _insulation(_: Dialect) -> list[_Part]:
    return [_Part("off", {}), _Part("set_voltage", {"volts": LOW_VOLTS}), _Part("set_dwell", {"seconds": DWELL}),
            _Part("dwell", {}, "number"), _Part("on", {}, hazard=True),
            _Part("resistance", {}, "number", hazard=True), _Part("off", {}), _Part("voltage", {}, "number")]


def _thermometer(_: Dialect) -> list[_Part]:
    return [_Part("winding", {}, "number"), _Part("ambient", {}, "number")]


def _guard(_: Dialect) -> list[_Part]:
    return [_Part("arm", {}), _Part("state", {}, "bits"), _Part("disarm", {}),
            _Part("light", {"lamps": 0}), _Part("lit", {}, "bits")]


_PARTS: Mapping[Role, Callable[[Dialect], list[_Part]]] = {
    "drive": _drive, "ohmmeter": _ohmmeter, "supply": _supply, "insulation": _insulation,
    "thermometer": _thermometer, "guard": _guard,
}
