"""The guard role over SCPI digital inputs, one output for the START lamp and, where wired, those of a stack light."""

from dataclasses import dataclass

from station.bench.instrument import ScpiInstrument
from station.bench.needs import NONE, Needs
from station.bench.roles import COLOURS, Colour, GuardState
from station.errors import BenchError

NEEDS = Needs(
    templates=dict.fromkeys(("arm", "disarm", "state"), NONE),
    numbers=frozenset({"closed", "started", "emergency_stop_healthy"}),
    optional={"light": frozenset({"lamps"}), "lit": NONE},
    optional_numbers=frozenset(COLOURS),
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

    def light(self, lamps: frozenset[Colour]) -> bool:
        """Light these lamps of the stack light and no others, and read them back; False where there is none."""
        if not (self.dialect.has("light") and self.dialect.has("lit")):
            return False
        numbers = self.dialect.numbers
        lacking = [colour for colour in COLOURS if colour in lamps and colour not in numbers]
        if lacking:
            raise BenchError("the stack light has no such lamp", where="guard", expected=", ".join(lacking),
                             got=", ".join(colour for colour in COLOURS if colour in numbers) or "none",
                             remedy="Name its bit under [numbers] of the guard's dialect, or wire one.")
        wanted = sum(int(numbers[colour]) for colour in lamps)
        self.session.command(self.dialect.line("light", lamps=wanted))
        lit = self.bits("lit") & sum(int(numbers[colour]) for colour in COLOURS if colour in numbers)
        if lit != wanted:
            raise BenchError("the stack light shows something else", where="guard", expected=self._named(wanted),
                             got=self._named(lit), remedy="Look at its lamps and wires; do not go by it meanwhile.")
        return True

    def _named(self, bits: int) -> str:
        numbers = self.dialect.numbers
        return ", ".join(colour for colour in COLOURS if bits & int(numbers.get(colour, 0))) or "all off"

    def safe(self) -> None:
        """Withdraw the invitation to START."""
        self.disarm()
