"""What the SCPI drivers of all roles share: a session, a dialect, and the mandatory common commands."""

from dataclasses import dataclass

from station.bench.dialect import Dialect
from station.bench.identity import Identity
from station.bench.scpi_session import ScpiSession
from station.errors import BenchError

SELF_TEST_DEADLINE = 10.0   # s; instruments test converters and memory, common practice, no source


@dataclass(frozen=True, slots=True)
class ScpiInstrument:
    """An instrument reached over SCPI, speaking its dialect."""

    session: ScpiSession
    dialect: Dialect

    def identity(self) -> Identity:
        """Return who answers; raise BenchNotFitError when it is another than the bench file names."""
        return self.session.identify()

    def self_test(self) -> str | None:
        """Run the instrument's own test: None when it passed, "" when it has none, else what it answered."""
        if not self.session.speech.self_test:
            return ""
        return self.session.self_test(SELF_TEST_DEADLINE)

    def drain_errors(self) -> tuple[str, ...]:
        """Empty the error queue and return its entries."""
        return self.session.drain_errors()

    def reading(self, name: str, deadline: float | None = None, **fields: float | str) -> float:
        """Return the answer to query `name` as a number; inf and -inf for over and under range."""
        return self.session.ask_number(self.dialect.line(name, **fields), deadline, self.dialect.answer(name).number)

    def finite(self, name: str, deadline: float | None = None, **fields: float | str) -> float:
        """Return the answer to query `name` as a finite number; over range raises BenchError."""
        return self.session.ask_finite(self.dialect.line(name, **fields), deadline, self.dialect.answer(name).number)

    def bits(self, name: str, deadline: float | None = None) -> int:
        """Return the answer to query `name` as a whole number of status bits."""
        number = self.finite(name, deadline)
        if number != int(number) or number < 0:
            raise BenchError("status bits that are no whole number", where=self.session.role,
                             expected="a whole number", got=number, remedy="Check the dialect file.")
        return int(number)

    def has_bit(self, name: str, bit: str) -> bool:
        """Return whether the dialect's number `bit` is set in the answer to `name`."""
        return bool(self.bits(name) & self.dialect.numbers[bit])
