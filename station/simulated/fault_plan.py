"""What shall go wrong with one simulated instrument, and at which message."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from threading import Lock

from station.errors import UsageError

# What happens to a message or its answer on the way; `seconds` are those of the wall clock.
ON_THE_WIRE = {
    "hang": "from this message on, every message is lost for `seconds`",
    "wedge": "nothing is read any more for `seconds`",
    "shut_out": "every connection is closed, and for `seconds` every new one too",
    "refuse": "every connection is closed, and for `seconds` every new one refused: nobody listens",
    "one_client": "for `seconds`, only one connection is served at a time, and others are closed",
    "trickle": "the answer comes a byte every `seconds`",
    "late": "the answer comes `seconds` late",
    "drop_answer": "the message is obeyed, its answer lost",
    "half_close": "half of the answer, then the connection closes",
    "half_late": "half of the answer, the rest `seconds` later",
    "stray_before": "a stray byte before the answer",
    "stray_after": "a stray byte after the answer",
    "stray_line": "an empty line before the answer",
    "one_behind": "from this message on, each answer is that of the question before",
    "return_line": "the answer ends with carriage return and line feed",
    "not_a_number": "the number asked for is 9.91E37, which stands for none",
    "over_range_text": "the number asked for is the word OVERLOAD",
    "stars": "the number asked for is ****",
    "empty": "the answer is an empty line",
}
# What happens inside the instrument before it obeys the message.
INSIDE = {
    "restart": "power fails for a moment; settings are lost, the connections stay, as behind a gateway",
    "power_cut": "power fails for a moment; settings and connections are lost",
    "other_serial": "another instrument of the same model takes its place, for `seconds`",
    "error_left": "an error of its own is in its queue",
}
# What happens on the bench, whatever instrument's message it is counted by.
ON_THE_BENCH = {
    "guard_opened": "the guard is opened",
    "emergency_stop": "the emergency stop is pressed",
    "supply_tripped": "the sensor supply trips",
    "clipped": "the next sweep has a channel at the end of its range",
    "no_trigger": "the next sweep never ends",
    "no_ramp": "for `seconds`, the drive does not obey a controlled stop, only its switch",
    "runs_on": "for `seconds`, the drive obeys neither stop nor switch; guard and emergency stop still act",
}
# What only frames of Modbus can suffer.
OF_FRAMES = {
    "exception_code": "the request is obeyed, and answered by an exception: device failure",
    "other_transaction": "the answer bears the number of another transaction",
}
FAULTS = ON_THE_WIRE | INSIDE | ON_THE_BENCH
OF_TEXT = frozenset({"stray_line", "return_line", "not_a_number", "over_range_text", "stars", "empty", "error_left"})
LASTING = frozenset({"hang", "wedge", "shut_out", "one_client", "refuse"})      # on the line itself
_OF_NUMBERS = frozenset({"not_a_number", "over_range_text", "stars"})
_OF_ANSWERS = _OF_NUMBERS | {"trickle", "late", "drop_answer", "half_close", "half_late", "stray_before", "stray_after",
                             "stray_line", "one_behind", "return_line", "empty"}


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault: after `after` messages have passed it strikes the next that it can, `times` times in all."""

    kind: str
    after: int = 0
    seconds: float = 1.0    # wall, see the kind
    times: int = 1

    def __post_init__(self) -> None:
        """Raise UsageError for a kind that is none."""
        _require_known(self.kind, FAULTS | OF_FRAMES)


@dataclass(frozen=True, slots=True)
class Medium:
    """What messages are made of: which faults they can suffer, and whether `fits` a fault a message."""

    kinds: Mapping[str, str]
    fits: Callable[[Fault, bytes], bool]


def _fits_text(fault: Fault, message: bytes) -> bool:
    """Return whether a message of text is of the kind that `fault` needs."""
    if fault.kind in _OF_NUMBERS:
        return b"?" in message and not message.lstrip(b":").upper().startswith((b"*", b"SYST", b"TRAC"))
    return fault.kind not in _OF_ANSWERS or b"?" in message


TEXT = Medium(FAULTS, _fits_text)
FRAMES = Medium({kind: told for kind, told in FAULTS.items() if kind not in OF_TEXT} | OF_FRAMES,
                lambda _fault, _request: True)      # each is answered


@dataclass(slots=True)
class FaultPlan:
    """The armed faults of one instrument and those that have struck; any thread may use it."""

    medium: Medium = TEXT
    armed: list[tuple[Fault, int, int]] = field(default_factory=list)     # fault, messages to pass, times left
    struck: list[str] = field(default_factory=list)
    _lock: Lock = field(default_factory=Lock)

    def arm(self, fault: Fault) -> None:
        """Let `fault` strike; UsageError when such messages cannot suffer it."""
        _require_known(fault.kind, self.medium.kinds)
        with self._lock:
            self.armed.append((fault, fault.after, fault.times))

    def clear(self) -> None:
        """Take back what has not struck yet, and forget what has."""
        with self._lock:
            self.armed.clear()
            self.struck.clear()

    def due(self, message: bytes) -> Fault | None:
        """Count `message`, and return the fault that strikes it; several wait for one another."""
        with self._lock:
            self.armed = [(fault, max(wait - 1, -1), left) for fault, wait, left in self.armed]
            for index, (fault, wait, left) in enumerate(self.armed):
                if wait < 0 and self.medium.fits(fault, message):
                    if left > 1:
                        self.armed[index] = fault, wait, left - 1
                    else:
                        del self.armed[index]
                    self.struck.append(fault.kind)
                    return fault
            return None


def _require_known(kind: str, known: Mapping[str, str]) -> None:
    if kind not in known:
        raise UsageError("no such fault", where="simulated bench", expected="one of " + ", ".join(known), got=kind,
                         remedy="Name a fault of that list.")
