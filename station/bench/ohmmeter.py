"""The ohmmeter role over SCPI: four-wire resistance through a relay for each pair of leads."""

from dataclasses import dataclass

from station.bench.instrument import ScpiInstrument
from station.bench.needs import Needs
from station.errors import BenchError

NEEDS = Needs(templates={
    "connect": frozenset({"pair"}), "release": frozenset(), "resistance": frozenset(),
}, numbers=frozenset({"pair_ab", "pair_bc", "pair_ca"}), besides={"resistance": frozenset({"pair"})})
DEADLINE = 10.0   # s; slow integration over many mains cycles, common practice, no source


@dataclass(frozen=True, slots=True)
class ScpiOhmmeter(ScpiInstrument):
    """Fills the `Ohmmeter` role."""

    def measure(self, pair: str) -> float:
        """Return the resistance of `pair` ("ab", "bc", "ca"), ohm; inf when over range."""
        line = self.dialect.line
        relay = self.dialect.numbers[f"pair_{pair}"]
        self.session.command(line("release"), line("connect", pair=relay))
        resistance = self.reading("resistance", DEADLINE, pair=relay)
        if resistance == float("-inf"):
            raise BenchError("the ohmmeter is under range", where="ohmmeter", expected="a resistance",
                             got="minus over range", remedy="Check that the sense leads are not exchanged.",
                             code="no_reading")
        return resistance

    def release(self) -> None:
        """Disconnect every lead."""
        self.session.command(self.dialect.line("release"))

    def safe(self) -> None:
        """Disconnect every lead."""
        self.release()
