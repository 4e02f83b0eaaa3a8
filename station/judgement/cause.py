"""Why there is no verdict, as a code that can be said in every language."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Cause:
    """`code` names what kept the station from telling, `at` the instrument, value or fault that it concerns, if any."""

    code: str
    at: str = ""

    def as_record(self) -> dict[str, str]:
        """Return it as the record holds it."""
        return {"code": self.code, "at": self.at}
