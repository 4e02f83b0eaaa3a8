"""The insulation tester role over SCPI."""

from dataclasses import dataclass, field

from station.bench.instrument import ScpiInstrument
from station.bench.needs import NONE, Needs
from station.bench.roles import Guard
from station.clock import Clock
from station.errors import BenchError, BenchNotFitError

NEEDS = Needs(templates={
    **dict.fromkeys(("on", "off", "resistance", "voltage", "dwell"), NONE),
    "set_voltage": frozenset({"volts"}), "set_dwell": frozenset({"seconds"}),
})
POLL = 0.02   # s


@dataclass(frozen=True, slots=True)
class ScpiInsulationTester(ScpiInstrument):
    """Fills the `InsulationTester` role."""

    guard: Guard
    clock: Clock
    discharged_below: float = field(default=25.0)    # V
    discharge_deadline: float = field(default=10.0)  # s

    def apply(self, volts: float, dwell: float) -> None:
        """Switch `volts` on; a reading comes `dwell` s later. Raise BenchNotFitError when the guard is open."""
        if not self.guard.is_closed():
            raise BenchNotFitError("insulation voltage refused", where="guard", expected="a closed guard",
                                   got="an open guard", remedy="Close the guard and press START again.")
        line = self.dialect.line
        self.session.command(line("set_voltage", volts=volts), line("set_dwell", seconds=dwell), line("on"))

    def resistance(self) -> float:
        """Return the insulation resistance after the dwell, ohm; inf when over range."""
        dwell = self.finite("dwell")
        resistance = self.reading("resistance", dwell + 2 * self.session.deadline)
        if resistance < 0:
            raise BenchError("negative insulation resistance", where="insulation tester", expected="above zero",
                             got=resistance, remedy="Check the test leads and have the tester looked at.")
        return resistance

    def voltage(self) -> float:
        """Return the voltage still on the winding, V."""
        return self.finite("voltage")

    def off(self) -> None:
        """Switch the voltage off; the winding then discharges, see `voltage`."""
        self.session.command(self.dialect.line("off"))

    def safe(self) -> None:
        """Switch off and wait until the winding is discharged; BenchError when it does not discharge."""
        self.off()
        end = self.clock.monotonic() + self.discharge_deadline
        while not abs(left := self.voltage()) < self.discharged_below:
            if self.clock.monotonic() > end:
                raise BenchError("the winding is not discharged", where="insulation tester",
                                 expected=f"below {self.discharged_below:g} V", got=f"{left:g} V",
                                 remedy="Keep the guard closed; do not touch the terminals; call maintenance.",
                                 code="not_discharged")
            self.clock.pause(POLL)
