"""The thermometer role over SCPI."""

from dataclasses import dataclass

from station.bench.instrument import ScpiInstrument
from station.bench.needs import NONE, Needs
from station.errors import BenchError

NEEDS = Needs(templates=dict.fromkeys(("winding", "ambient"), NONE))
PLAUSIBLE = (-60.0, 250.0)   # degrees Celsius; outside, a sensor is broken or not connected


@dataclass(frozen=True, slots=True)
class ScpiThermometer(ScpiInstrument):
    """Fills the `Thermometer` role."""

    def winding(self) -> float:
        """Return the temperature of the winding, degrees Celsius."""
        return self._temperature("winding")

    def ambient(self) -> float:
        """Return the temperature of the room, degrees Celsius."""
        return self._temperature("ambient")

    def safe(self) -> None:
        """Do nothing: a thermometer cannot hurt."""

    def _temperature(self, name: str) -> float:
        reading = self.finite(name)
        if not PLAUSIBLE[0] <= reading <= PLAUSIBLE[1]:
            raise BenchError(f"implausible {name} temperature", where="thermometer", got=f"{reading:g} degC",
                             expected=f"{PLAUSIBLE[0]:g} to {PLAUSIBLE[1]:g} degC",
                             remedy="Check the temperature sensor and its lead.")
        return reading
