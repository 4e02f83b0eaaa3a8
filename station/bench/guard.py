"""The guard role over SCPI digital inputs and one output for the START lamp."""

from dataclasses import dataclass

from station.bench.instrument import ScpiInstrument
from station.bench.needs import NONE, Needs
from station.bench.roles import GuardState

NEEDS = Needs(
    templates=dict.fromkeys(("arm", "disarm", "state"), NONE),
    numbers=frozenset({"closed", "started", "emergency_stop_healthy"}),
)


@dataclass(frozen=True, slots=True)
class ScpiGuard(ScpiInstrument):
    """Fills the `Guard` role. It only reports; the guard itself is hard-wired and no software is part of it."""

    def arm(self) -> None:
        """Invite a person to press START; never starts anything."""
        self.session.command(self.dialect.line("arm"))

    def disarm(self) -> None:
        """Withdraw the invitation; an earlier START no longer counts."""
        self.session.command(self.dialect.line("disarm"))

    def state(self) -> GuardState:
        """Return guard and emergency stop as one reading."""
        bits, numbers = self.bits("state"), self.dialect.numbers
        return GuardState(bool(bits & numbers["closed"]), bool(bits & numbers["emergency_stop_healthy"]))

    def is_closed(self) -> bool:
        """Return whether the guard is closed."""
        return self.has_bit("state", "closed")

    def is_started(self) -> bool:
        """Return whether START was pressed since arming."""
        return self.has_bit("state", "started")

    def is_emergency_stop_healthy(self) -> bool:
        """Return whether the emergency stop circuit is closed."""
        return self.has_bit("state", "emergency_stop_healthy")

    def safe(self) -> None:
        """Withdraw the invitation to START."""
        self.disarm()
