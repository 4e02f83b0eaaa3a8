"""One conversation with one Modbus TCP drive: owner thread, deadline, identity, recovery."""

from collections.abc import Callable
from typing import TypeVar

from station.bench.identity import Identity
from station.bench.modbus_wire import ModbusWire, RefusedError
from station.bench.owner import Owner, connection_broke, given_up, no_reply, open_deadline
from station.bench.register_map import IdentityPart, Register, RegisterMap
from station.bench.transcript import Direction, Transcript
from station.clock import Clock
from station.errors import BenchError, BenchNotFitError, InstrumentError

DEFAULT_UNIT = 1

Answer = TypeVar("Answer")
Note = Callable[[Direction, str], None]


class Exchange:
    """The registers of the drive within one exchange: all reads and writes share its deadline."""

    def __init__(self, wire: ModbusWire, until: float, where: str, note: Note) -> None:
        self._wire, self._until, self._where, self._note = wire, until, where, note

    def read(self, register: Register) -> int:
        """Return the raw number in `register`; InstrumentError when the drive refuses."""
        return self._obeyed(f"reading register {register.address}", lambda: self._wire.read(register, self._until))

    def read_text(self, first: Register, count: int) -> str:
        """Return the text in `count` registers, two characters in each."""
        words = self._obeyed(f"reading register {first.address}",
                             lambda: self._wire.read_words(first, count, self._until))
        content = b"".join(word.to_bytes(2, "big") for word in words)
        return content.decode("ascii", "backslashreplace").strip("\0 ")

    def identification(self, number: int) -> str:
        """Return object `number` of the device identification."""
        return self._obeyed(f"reading identification object {number}",
                            lambda: self._wire.identification(number, self._until))

    def write(self, register: Register, raw: int) -> None:
        """Write a raw number; InstrumentError when the drive refuses or the register cannot hold it."""
        self._obeyed(f"writing {raw} to register {register.address}",
                     lambda: self._wire.write(register, raw, self._until))

    def read_quantity(self, register: Register) -> float:
        """Return the quantity in `register`, SI."""
        return self.read(register) * register.factor

    def write_quantity(self, register: Register, value: float) -> None:
        """Write the quantity `value`, SI, as the nearest number that the register can carry."""
        self.write(register, round(value / register.factor))

    def _obeyed(self, what: str, work: Callable[[], Answer]) -> Answer:
        self._note("to", what)
        try:
            answer = work()
        except (RefusedError, ValueError) as error:
            self._note("from", str(error))
            raise InstrumentError("the drive refused", where=self._where, expected=what, got=str(error),
                                  remedy="Check the register map against the drive's manual.") from error
        self._note("from", "written" if answer is None else str(answer))
        return answer


class ModbusSession:
    """Speaks with one drive; every method may be called from any thread.

    All exchanges run in one owner thread. After a missed deadline or any doubt the connection is thrown away,
    and the next exchange opens it afresh and checks the identity before anything else.
    """

    def __init__(self, role: str, resource: str, registers: RegisterMap, expected: Identity, clock: Clock,
                 deadline: float, transcript: Transcript | None = None) -> None:
        self.role, self.resource, self.registers = role, resource, registers
        self.expected, self.deadline, self._transcript = expected, deadline, transcript
        self._clock = clock
        self._wire: ModbusWire | None = None
        self._owner = Owner(role)
        self._aside: ModbusSession | None = None
        self.was_identified = False

    def aside(self) -> "ModbusSession":
        """Return a second session with the same drive; nothing waits on one because the other is busy."""
        if self._aside is None:
            self._aside = ModbusSession(f"{self.role} (stop)", self.resource, self.registers, self.expected,
                                        self._clock, self.deadline, self._transcript)
        return self._aside

    def exchange(self, what: str, work: Callable[[Exchange], Answer], deadline: float | None = None) -> Answer:
        """Return what `work` makes of the drive's registers, within one deadline (s)."""
        seconds = deadline or self.deadline
        # The exchange and the opening have their deadlines; this one is for a wedged thread.
        return self._owner.do(lambda is_wanted: self._carry_out(what, work, seconds, is_wanted),
                              seconds + 2 * self.deadline + 1.0,
                              lambda: no_reply(self._where(), what, seconds, "an owner thread that is still busy"))

    def identify(self) -> Identity:
        """Read who answers; raise BenchNotFitError unless it is the drive of the bench file."""
        return self.exchange("its identity", self._checked_identity)

    def give_up(self) -> None:
        """Break off the exchange under way and those behind it, from any thread; the next one connects afresh."""
        self._owner.give_up()
        wire = self._wire
        if wire is not None:
            wire.shut()

    def close(self) -> None:
        """Close the connection and end the owner thread, those of the second session too."""
        if self._aside is not None:
            self._aside.close()
        self._owner.end(self._drop)

    # Everything below runs in the owner thread.

    def _carry_out(self, what: str, work: Callable[[Exchange], Answer], seconds: float, is_wanted: Callable[[], bool]
                   ) -> Answer:
        if not is_wanted():
            raise given_up(self._where(), what)
        try:
            wire = self._in_step() or self._open()
            return work(self._exchange_on(wire, self._clock.monotonic() + seconds))
        except (InstrumentError, BenchNotFitError):
            raise
        except TimeoutError as error:
            self._drop()
            raise no_reply(self._where(), what, seconds, "silence; the next exchange connects afresh") from error
        except OSError as error:
            self._drop()
            raise connection_broke(self._where(), what, error) from error
        except BaseException:
            self._drop()
            raise

    def _in_step(self) -> ModbusWire | None:
        """Return the open connection unless the drive has closed it, or sent what nobody asked for."""
        if self._wire is not None and self._wire.has_unread():
            self._drop()
        return self._wire

    def _open(self) -> ModbusWire:
        until = self._clock.monotonic() + open_deadline(self.deadline)
        host, port, unit = parse_resource(self.resource)
        self._wire = ModbusWire((host, port), unit, self._clock.monotonic, until,
                                big_word_first=self.registers.big_word_first,
                                write_single=self.registers.write_single)
        self._note("note", f"connected to {self.resource}")
        self._checked_identity(self._exchange_on(self._wire, until))
        return self._wire

    def _exchange_on(self, wire: ModbusWire, until: float) -> Exchange:
        return Exchange(wire, until, self._where(), self._note)

    def _note(self, direction: Direction, text: str) -> None:
        if self._transcript is not None:
            self._transcript.note(self.role, direction, text)

    def _checked_identity(self, exchange: Exchange) -> Identity:
        parts = {name: _read_part(exchange, part) for name, part in self.registers.identity.items()}
        identity = Identity(**parts)
        try:
            identity.require(self.expected, self.role, self._where())
        except BenchNotFitError:
            self._drop()
            raise
        self.was_identified = True
        return identity

    def _drop(self) -> None:
        if self._wire is not None:
            self._wire.close()
            self._wire = None
            self._note("note", "connection closed")

    def _where(self) -> str:
        return f"{self.role} at {self.resource}"


def parse_resource(resource: str) -> tuple[str, int, int]:
    """Return host, port and unit number of "MODBUS::host::port" or "MODBUS::host::port::unit"."""
    parts = resource.split("::")
    if len(parts) not in (3, 4) or parts[0] != "MODBUS":
        raise BenchError("this is no Modbus resource", where=resource, expected="MODBUS::host::port::unit",
                         got=resource, remedy="Correct the resource in the bench file.")
    return parts[1], int(parts[2]), int(parts[3]) if len(parts) == 4 else DEFAULT_UNIT


def _read_part(exchange: Exchange, part: IdentityPart) -> str:
    if part.object is not None:
        return exchange.identification(part.object)
    if part.text is not None:
        return exchange.read_text(*part.text)
    if part.number is None:
        raise TypeError("an identity part without a place")   # the register map's check rules this out
    return str(exchange.read(part.number))
