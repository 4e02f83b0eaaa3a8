"""The simulated inputs of the guard circuit, the lamp of the START button, and a stack light of five lamps."""

from station.simulated.rig import Rig
from station.simulated.scpi_error import ScpiError
from station.simulated.scpi_instrument import ScpiInstrument
from station.simulated.scpi_value import read_number
from station.simulated.stack_lamps import BITS

GUARD_CLOSED, START_LATCHED, EMERGENCY_STOP_HEALTHY, ARMED = 1, 2, 4, 8


class GuardInstrument(ScpiInstrument):
    """Reads the hard-wired circuit. Its outputs only light lamps; they can never start motion."""

    model, serial = "GUARD", "EB-GRD-001"

    def __init__(self, rig: Rig) -> None:
        super().__init__(rig)
        self.add("[SENSe]:DIGital:DATA?", lambda _: str(self._bits()))
        self.add_switch("OUTPut[:STATe]", lambda: rig.armed, rig.arm)
        self.add("SOURce:DIGital:DATA", lambda call: self._light(call.arguments[0]), 1)
        self.add("SOURce:DIGital:DATA?", lambda _: str(rig.stack_lamps.lit))

    def reset(self) -> None:
        """Put all lamps out, which also forgets a pressed START."""
        self.rig.arm(on=False)
        self.rig.stack_lamps.switched = 0

    def _light(self, argument: str) -> None:
        bits = read_number(argument)
        if not (0 <= bits <= BITS and bits == int(bits)):
            raise ScpiError(-222)
        self.rig.stack_lamps.switched = int(bits)

    def _bits(self) -> int:
        rig = self.rig
        return (GUARD_CLOSED * rig.guard_closed | START_LATCHED * rig.start_latched
                | EMERGENCY_STOP_HEALTHY * rig.emergency_stop_healthy | ARMED * rig.armed)
