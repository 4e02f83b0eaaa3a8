"""The sensor supply role over SCPI."""

from dataclasses import dataclass

from station.bench.instrument import ScpiInstrument
from station.bench.needs import NONE, Needs
from station.errors import BenchError

NEEDS = Needs(templates={
    **dict.fromkeys(("on", "off", "is_on", "voltage", "current"), NONE),
    "set_voltage": frozenset({"volts"}), "set_current_limit": frozenset({"amperes"}),
}, optional=dict.fromkeys(("trip", "clear"), NONE))

IN_BAND = 0.05      # relative; sensors count on no better supply, common practice, no source


@dataclass(frozen=True, slots=True)
class ScpiSensorSupply(ScpiInstrument):
    """Fills the `SensorSupply` role."""

    def on(self, volts: float, current_limit: float) -> None:
        """Set volts and the current limit (A) and switch on; BenchError when the output does not come on."""
        line = self.dialect.line
        clear = (line("clear"),) if self.dialect.has("clear") else ()
        self.session.command(*clear, line("set_voltage", volts=volts),
                             line("set_current_limit", amperes=current_limit), line("on"))
        if self.finite("is_on") != 1:
            raise BenchError("the sensor supply did not switch on", where="sensor supply", expected="output on",
                             got="output off", remedy="Look for a short circuit in the sensor leads.",
                             code="supply_off")

    def off(self) -> None:
        """Switch off."""
        self.session.command(self.dialect.line("off"))

    def require_on(self, volts: float) -> None:
        """Raise BenchError unless the output is on, at about `volts`, and has not tripped."""
        tripped = self.dialect.has("trip") and self.finite("trip") != 0
        if tripped or self.finite("is_on") != 1:
            raise BenchError("the sensor supply has switched off", where="sensor supply", expected="output on",
                             got="tripped" if tripped else "output off",
                             remedy="Look for a short circuit in the sensor leads, then test the motor again.",
                             code="supply_off")
        got = self.voltage()
        if not abs(got - volts) <= IN_BAND * volts:
            raise BenchError("the sensor supply does not hold its voltage", where="sensor supply", got=f"{got:.3g} V",
                             expected=f"{volts:g} V", remedy="Look for a load that is too great, then test again.",
                             code="supply_off")

    def current(self) -> float:
        """Return the current drawn, A."""
        return self.finite("current")

    def voltage(self) -> float:
        """Return the voltage at the output, V."""
        return self.finite("voltage")

    def safe(self) -> None:
        """Switch off and see that it is off."""
        self.off()
        if self.finite("is_on") != 0:
            raise BenchError("the sensor supply did not switch off", where="sensor supply", expected="output off",
                             got="output on", remedy="Switch it off by hand.")
