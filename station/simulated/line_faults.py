"""The faults of the lines to one instrument, shared by all its ports: what strikes, and until when it lasts."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from threading import Lock

from station.simulated.fault_plan import INSIDE, LASTING, ON_THE_BENCH, TEXT, Fault, FaultPlan, Medium
from station.simulated.listener import Listener


class LineFaults:
    """What any thread may arm, and every port of the instrument asks.

    `monotonic` gives wall seconds. What is not of the line but of the instrument or the bench is given to `strike`.
    """

    def __init__(self, monotonic: Callable[[], float], strike: Callable[[Fault], None] = lambda _: None,
                 medium: Medium = TEXT) -> None:
        self.plan = FaultPlan(medium)
        self._monotonic, self._strike = monotonic, strike
        self._ports: list[Listener] = []
        # Until when which fault lasts, wall s; whatever is absent has never begun.
        self._until: dict[str, float] = {}
        self._served, self._lock = 0, Lock()

    def cover(self, port: Listener) -> None:
        """Let the faults that close or refuse connections reach `port` as well."""
        self._ports.append(port)

    def befall(self, message: bytes) -> Fault | None:
        """Let the fault that is due with `message` begin; return it if the line must do the rest."""
        fault = self.plan.due(message)
        if fault is None:
            return None
        if fault.kind in INSIDE or fault.kind in ON_THE_BENCH:
            self._strike(fault)
            return None
        if fault.kind in LASTING:
            self._until[fault.kind] = self._monotonic() + fault.seconds
        if fault.kind == "refuse":
            for port in self._ports:
                port.refuse(lambda: self.lasts("refuse"))
        if fault.kind in ("shut_out", "one_client", "refuse"):
            self.drop_clients()
        return fault

    def lasts(self, kind: str) -> bool:
        """Return whether a fault of this kind has struck and is not over."""
        return self._monotonic() < self._until.get(kind, float("-inf"))

    def silence(self, seconds: float) -> None:
        """Lose every message for so many wall seconds, as an instrument whose firmware hangs does."""
        self._until["hang"] = self._monotonic() + seconds

    def is_silent(self) -> bool:
        """Return whether messages are being lost."""
        return self.lasts("hang")

    @contextmanager
    def admitted(self) -> Iterator[bool]:
        """Count a client inside the `with` block; give whether it is served, else its connection must be closed."""
        with self._lock:
            welcome = not self.lasts("shut_out") and not (self._served and self.lasts("one_client"))
            self._served += welcome
        try:
            yield welcome
        finally:
            with self._lock:
                self._served -= welcome

    def drop_clients(self) -> None:
        """Close every connection, as a power cut does."""
        for port in self._ports:
            port.drop()

    def mend(self) -> None:
        """End every fault of the lines and take back those that have not struck."""
        self.plan.clear()
        self._until.clear()
        for port in self._ports:
            port.await_listening()
