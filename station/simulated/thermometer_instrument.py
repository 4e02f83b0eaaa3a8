"""The simulated thermometer: one probe at the winding, one in the room."""

import numpy as np

from station.simulated.rig import Rig
from station.simulated.scpi_error import ScpiError
from station.simulated.scpi_instrument import Call, ScpiInstrument
from station.simulated.scpi_value import answer_number, read_channels

PLACES = ("winding", "ambient")
OFFSET, NOISE = 0.15, 0.01  # K; a good resistance probe, common practice, no source


class ThermometerInstrument(ScpiInstrument):
    """Channel 1 is the winding, channel 2 the room; degrees Celsius."""

    model, serial = "THERMOMETER", "EB-THM-001"

    def __init__(self, rig: Rig, seed: int) -> None:
        super().__init__(rig)
        self._random = np.random.default_rng([seed, 61])
        self._offset = dict(zip(PLACES, self._random.uniform(-OFFSET, OFFSET, 2), strict=True))
        self.add("MEASure[:SCALar]:TEMPerature?", self._measure, 0, 1)

    def _measure(self, call: Call) -> str:
        channels = read_channels(call.arguments[0], len(PLACES)) if call.arguments else (1,)
        if not channels:
            raise ScpiError(-224)
        return ",".join(answer_number(self._read(PLACES[channel - 1])) for channel in channels)

    def _read(self, place: str) -> float:
        noise = NOISE * float(self._random.standard_normal())
        return self.rig.temperature(place) + float(self._offset[place]) + noise
