"""The status registers and the error queue of one instrument, as IEEE 488.2 and SCPI-1999 define them."""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field

from station.simulated.scpi_error import ScpiError

OPERATION_COMPLETE, QUERY_ERROR, DEVICE_ERROR, EXECUTION_ERROR, COMMAND_ERROR, POWER_ON = 1, 4, 8, 16, 32, 128
QUEUE_LENGTH = 20
NO_ERROR = '0,"No error"'
_CLASS_BITS = {1: COMMAND_ERROR, 2: EXECUTION_ERROR, 3: DEVICE_ERROR, 4: QUERY_ERROR}


@dataclass(slots=True)
class Register:
    """OPERation or QUEStionable: a condition, the events latched at its rising edges, and the enable mask."""

    read_condition: Callable[[], int]
    condition: int = 0
    event: int = 0
    enable: int = 0

    def refresh(self) -> None:
        """Look at the condition now and latch what rose since the last look."""
        now = self.read_condition()
        self.event |= now & ~self.condition
        self.condition = now

    def take_event(self) -> int:
        """Return the events and clear them, as reading does."""
        event, self.event = self.event, 0
        return event


@dataclass(slots=True)
class Status:
    """Everything that *ESR?, *STB?, SYSTem:ERRor? and STATus answer from. Starts with power-on set."""

    operation: Register
    questionable: Register
    esr: int = POWER_ON
    ese: int = 0
    sre: int = 0
    queue: deque[str] = field(default_factory=deque)

    def report(self, error: ScpiError) -> None:
        """Set the ESR bit of the error's class and queue it; on overflow the newest entry becomes -350."""
        self.esr |= _CLASS_BITS[-error.code // 100]
        if len(self.queue) < QUEUE_LENGTH:
            self.queue.append(error.entry())
        else:
            self.queue[-1] = ScpiError(-350).entry()
            self.esr |= DEVICE_ERROR

    def next_error(self) -> str:
        """Return and remove the oldest entry."""
        return self.queue.popleft() if self.queue else NO_ERROR

    def all_errors(self) -> str:
        """Return and remove every entry, oldest first."""
        entries = ",".join(self.queue) or NO_ERROR
        self.queue.clear()
        return entries

    def take_esr(self) -> int:
        """Return the event status register and clear it, as reading does."""
        esr, self.esr = self.esr, 0
        return esr

    def clear(self) -> None:
        """*CLS: event registers and queue; enable masks stay."""
        self.esr = self.operation.event = self.questionable.event = 0
        self.queue.clear()

    def power_on(self) -> None:
        """Forget everything, masks too, and say so by the power-on bit."""
        self.clear()
        self.esr, self.ese, self.sre = POWER_ON, 0, 0
        self.operation.enable = self.questionable.enable = 0

    def refresh(self) -> None:
        """Latch the conditions as they are now."""
        self.operation.refresh()
        self.questionable.refresh()

    def byte(self, *, answer_waiting: bool) -> int:
        """Return the status byte with the master summary in bit 6."""
        byte = (bool(self.queue) << 2 | bool(self.questionable.event & self.questionable.enable) << 3
                | answer_waiting << 4 | bool(self.esr & self.ese) << 5
                | bool(self.operation.event & self.operation.enable) << 7)
        return byte | bool(byte & self.sre & ~64) << 6
