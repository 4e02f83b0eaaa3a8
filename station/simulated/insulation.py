"""The insulation of the motor as the insulation tester sees it: a resistance and a charge that must decay."""

from math import exp

CAPACITANCE = 8e-9         # F, winding to frame of a small motor; common practice, no source
SOURCE_RESISTANCE = 1e6    # ohm, of the tester while it charges
DISCHARGE = 5e6            # ohm, the tester's own discharge path when it is off


class InsulationPath:
    """Voltage across the insulation over simulated time."""

    def __init__(self, resistance: float = 1e12) -> None:
        self._resistance = resistance
        self._source, self._on = 0.0, False
        self._since, self._start_voltage = 0.0, 0.0

    def connect(self, resistance: float, now: float) -> None:
        """Put another insulation resistance, ohm, across the terminals at time `now`, s."""
        self._anchor(now)
        self._resistance = resistance

    def switch(self, volts: float, on: bool, now: float) -> None:
        """Set the source, V, on or off at simulated time `now`, s."""
        self._anchor(now)
        self._source, self._on = volts, on

    def voltage(self, now: float) -> float:
        """Return the voltage across the insulation, V."""
        final, constant = self._course()
        return final + (self._start_voltage - final) * exp(-max(now - self._since, 0.0) / constant)

    def _anchor(self, now: float) -> None:
        self._start_voltage, self._since = self.voltage(now), now

    def _course(self) -> tuple[float, float]:
        # Thevenin: the source or the discharge path in parallel with the insulation itself.
        path = SOURCE_RESISTANCE if self._on else DISCHARGE
        share = self._resistance / (self._resistance + path)
        return (self._source * share if self._on else 0.0), path * share * CAPACITANCE
