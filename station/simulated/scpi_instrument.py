"""What every simulated instrument does: obey messages, mandatory commands, status, settings, waiting."""

from collections.abc import Callable
from dataclasses import dataclass
from threading import Event, Lock
from typing import ClassVar

from station.errors import UsageError
from station.simulated.rig import Rig
from station.simulated.scpi_error import ScpiError
from station.simulated.scpi_header import Node, compile_pattern, match_header
from station.simulated.scpi_parser import Path, Unit, split_message
from station.simulated.scpi_status import OPERATION_COMPLETE, Register, Status
from station.simulated.scpi_value import Span, answer_number, read_boolean, read_number

MAKER, FIRMWARE = "EMBEDDED BENCH", "1"
POLL = 0.002        # s, wall, between looks while a command waits


@dataclass(frozen=True, slots=True)
class Call:
    """A command as obeyed: the numbers of its header and its arguments as text."""

    numbers: tuple[int, ...]
    arguments: tuple[str, ...]


Answer = str | bytes | None
Obey = Callable[[Call], Answer]


@dataclass(frozen=True, slots=True)
class Command:
    """One entry of the command set; `fewest` and `most` count its arguments."""

    nodes: tuple[Node, ...]
    query: bool
    fewest: int
    most: int
    obey: Obey


class ScpiInstrument:
    """An IEEE 488.2 / SCPI-1999 instrument on the rig; each kind adds its commands and its safe reset.

    Messages of several clients are obeyed one at a time. A faulty unit is reported in the error
    queue and gives no answer; the units behind it are still obeyed.
    """

    model: ClassVar[str]
    serial: ClassVar[str]

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self.status = Status(Register(self.operation_condition), Register(self.questionable_condition))
        self._commands: list[Command] = []
        self._common = self._common_commands()
        self._lock, self._ended = Lock(), Event()
        self.posing_as = ""     # the serial number of another instrument that stands in its place
        self._completion_asked = False
        self._answers: list[bytes] = []
        self._add_required()

    # --- what a kind of instrument may say of itself ------------------------------------------------
    def operation_condition(self) -> int:
        """Return the bits of the OPERation condition register."""
        return 0

    def questionable_condition(self) -> int:
        """Return the bits of the QUEStionable condition register."""
        return 0

    def reset(self) -> None:
        """Go to the safe state of *RST."""

    def lose_power(self) -> None:
        """Lose outputs and settings at once; lock held."""
        self.reset()

    def is_busy(self) -> bool:
        """Whether an overlapped operation is under way, for *OPC, *OPC? and *WAI."""
        return False

    def self_test_fault(self) -> str:
        """Return what the self-test found, or nothing."""
        return ""

    def tick(self) -> None:
        """Do what is due without a message; called some twenty times a second, lock held."""

    def heard(self) -> None:
        """Note that a message has arrived; lock held."""

    # --- obeying ------------------------------------------------------------------------------------
    def execute(self, message: bytes) -> bytes:
        """Obey one message without its terminator; return the answers with theirs, or nothing."""
        with self._lock:
            self.heard()
            answers: list[bytes] = []
            self._answers = answers
            path = Path()
            try:
                for text in split_message(self._decode(message)):
                    self._obey_reporting(path, text, answers)
            except ScpiError as error:
                self.status.report(error)
            return b";".join(answers) + b"\n" if answers else b""

    def look(self) -> None:
        """Let time pass for the instrument: latch conditions, finish operations, count the watchdog."""
        with self._lock:
            self.tick()
            self._refresh()

    def report(self, error: ScpiError) -> None:
        """Queue an error that the connection found."""
        with self._lock:
            self.status.report(error)

    def restart(self) -> None:
        """Lose power for a moment: outputs off, settings and status as after switching on."""
        with self._lock:
            self._completion_asked = False
            self.lose_power()
            self.status.power_on()

    def end(self) -> None:
        """Break off any waiting; the instrument is about to be switched off."""
        self._ended.set()

    def wait_until(self, is_over: Callable[[], bool]) -> None:
        """Wait inside a command; other clients are served meanwhile."""
        answers = self._answers
        while not is_over() and not self._ended.is_set():
            self._lock.release()
            try:
                self._ended.wait(POLL)
            finally:
                self._lock.acquire()
        self._answers = answers

    @staticmethod
    def _decode(message: bytes) -> str:
        try:
            text = message.decode("ascii")
        except UnicodeDecodeError:
            raise ScpiError(-101) from None
        if any(ord(c) < 32 and c not in "\t\r\v\f" for c in text):
            raise ScpiError(-101)
        return text

    def _obey_reporting(self, path: Path, text: str, answers: list[bytes]) -> None:
        try:
            self._refresh()
            answer = self._obey(path.read(text))
        except ScpiError as error:
            self.status.report(error)
        except UsageError as error:     # the rig refuses what its present state does not allow
            self.status.report(ScpiError(-221, error.what))
        else:
            if answer is not None:
                answers.append(answer if isinstance(answer, bytes) else answer.encode("ascii"))

    def _obey(self, unit: Unit) -> Answer:
        if unit.common:
            key = unit.common + "?" * unit.query
            if key not in self._common:
                raise ScpiError(-113)
            count, obey = self._common[key]
            self._require_count(unit, count, count)
            return obey(Call((), unit.arguments))
        for command in self._commands:
            if command.query != unit.query:
                continue
            numbers = match_header(command.nodes, unit.header)
            if numbers is not None:
                self._require_count(unit, command.fewest, command.most)
                return command.obey(Call(numbers, unit.arguments))
        raise ScpiError(-113)

    @staticmethod
    def _require_count(unit: Unit, fewest: int, most: int) -> None:
        if len(unit.arguments) < fewest:
            raise ScpiError(-109)
        if len(unit.arguments) > most:
            raise ScpiError(-108)

    def _refresh(self) -> None:
        self.status.refresh()
        if self._completion_asked and not self.is_busy():
            self._completion_asked = False
            self.status.esr |= OPERATION_COMPLETE

    # --- building a command set ----------------------------------------------------------------------
    def add(self, header: str, obey: Obey, fewest: int = 0, most: int | None = None) -> None:
        """Add a command, or a query when `header` ends with a question mark."""
        query = header.endswith("?")
        self._commands.append(Command(compile_pattern(header.rstrip("?")), query, fewest,
                                      fewest if most is None else most, obey))

    def add_number(self, header: str, span: Callable[[], Span], get: Callable[[], float],
                   put: Callable[[float], None]) -> None:
        """Add a numeric setting and its query, which also answers MIN, MAX and DEF."""
        def obey(call: Call) -> None:
            put(span().read(call.arguments[0]))

        def ask(call: Call) -> str:
            if not call.arguments:
                number = get()
            elif (named := span().named(call.arguments[0])) is not None:
                number = named
            else:
                raise ScpiError(-224)
            return str(round(number)) if span().whole else answer_number(number)

        self.add(header, obey, 1)
        self.add(header + "?", ask, 0, 1)

    def add_switch(self, header: str, get: Callable[[], bool], put: Callable[[bool], None]) -> None:
        """Add an ON/OFF setting and its query."""
        self.add(header, lambda call: put(read_boolean(call.arguments[0])), 1)
        self.add(header + "?", lambda _: str(int(get())))

    def add_reading(self, header: str, read: Callable[[], float]) -> None:
        """Add a query without arguments that answers a number."""
        self.add(header, lambda _: answer_number(read()))

    # --- what every instrument must have -------------------------------------------------------------
    def _common_commands(self) -> dict[str, tuple[int, Obey]]:
        status = self.status
        return {
            "*CLS": (0, self._clear), "*RST": (0, self._reset), "*WAI": (0, self._wait),
            "*ESE": (1, lambda call: setattr(status, "ese", self._mask(call, 255))),
            "*ESE?": (0, lambda _: str(status.ese)), "*ESR?": (0, lambda _: str(status.take_esr())),
            "*IDN?": (0, lambda _: f"{MAKER},{self.model},{self.posing_as or self.serial},{FIRMWARE}"),
            "*OPC": (0, self._ask_completion), "*OPC?": (0, self._await_completion),
            "*SRE": (1, lambda call: setattr(status, "sre", self._mask(call, 255) & ~64)),
            "*SRE?": (0, lambda _: str(status.sre)),
            "*STB?": (0, lambda _: str(status.byte(answer_waiting=bool(self._answers)))),
            "*TST?": (0, self._self_test),
        }

    def _add_required(self) -> None:
        status = self.status
        self.add("SYSTem:ERRor[:NEXT]?", lambda _: status.next_error())
        self.add("SYSTem:ERRor:COUNt?", lambda _: str(len(status.queue)))
        self.add("SYSTem:ERRor:ALL?", lambda _: status.all_errors())
        self.add("SYSTem:VERSion?", lambda _: "1999.0")
        self.add("STATus:PRESet", self._preset)
        self._add_register("OPERation", status.operation)
        self._add_register("QUEStionable", status.questionable)

    def _add_register(self, name: str, register: Register) -> None:
        def enable(call: Call) -> None:
            register.enable = self._mask(call, 65535) & 0x7FFF

        self.add(f"STATus:{name}[:EVENt]?", lambda _: str(register.take_event()))
        self.add(f"STATus:{name}:CONDition?", lambda _: str(register.condition))
        self.add(f"STATus:{name}:ENABle", enable, 1)
        self.add(f"STATus:{name}:ENABle?", lambda _: str(register.enable))

    @staticmethod
    def _mask(call: Call, highest: int) -> int:
        mask = round(read_number(call.arguments[0]))
        if not 0 <= mask <= highest:
            raise ScpiError(-222)
        return mask

    def _preset(self, _: Call) -> None:
        self.status.operation.enable = self.status.questionable.enable = 0

    def _clear(self, _: Call) -> None:
        self._completion_asked = False
        self.status.clear()

    def _reset(self, _: Call) -> None:
        self._completion_asked = False
        self.reset()

    def _wait(self, _: Call) -> None:
        self.wait_until(lambda: not self.is_busy())

    def _ask_completion(self, _: Call) -> None:
        self._completion_asked = True
        self._refresh()

    def _await_completion(self, call: Call) -> str:
        self._wait(call)
        return "1"

    def _self_test(self, _: Call) -> str:
        fault = self.self_test_fault()
        if fault:
            self.status.report(ScpiError(-330, fault))
        return str(int(bool(fault)))
