"""The simulated inputs of the guard circuit, and the lamp of the START button."""

from station.simulated.rig import Rig
from station.simulated.scpi_instrument import ScpiInstrument

GUARD_CLOSED, START_LATCHED, EMERGENCY_STOP_HEALTHY, ARMED = 1, 2, 4, 8


class GuardInstrument(ScpiInstrument):
    """Reads the hard-wired circuit. Its output only lights the lamp; it can never start motion."""

    model, serial = "GUARD", "EB-GRD-001"

    def __init__(self, rig: Rig) -> None:
        super().__init__(rig)
        self.add("[SENSe]:DIGital:DATA?", lambda _: str(self._bits()))
        self.add_switch("OUTPut[:STATe]", lambda: rig.armed, rig.arm)

    def reset(self) -> None:
        """Put the lamp out, which also forgets a pressed START."""
        self.rig.arm(on=False)

    def _bits(self) -> int:
        rig = self.rig
        return (GUARD_CLOSED * rig.guard_closed | START_LATCHED * rig.start_latched
                | EMERGENCY_STOP_HEALTHY * rig.emergency_stop_healthy | ARMED * rig.armed)
