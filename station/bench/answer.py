"""The closed list of ways in which an answer becomes a number."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from station.bench.speech import Sentinels, parse_number

Form = Literal["number", "csv", "bool", "map"]
_BOOLEANS = {"1": 1.0, "ON": 1.0, "TRUE": 1.0, "YES": 1.0, "0": 0.0, "OFF": 0.0, "FALSE": 0.0, "NO": 0.0}


@dataclass(frozen=True, slots=True)
class AnswerForm:
    """How one query is answered: value = number x times, or its inverse; sentinels stand for no value."""

    form: Form = "number"
    part: int = 1                      # csv: which part, from 1
    suffix: str = ""                   # text behind the number, such as a unit
    map: Mapping[str, float] = field(default_factory=dict)
    times: float = 1.0
    inverse: bool = False
    sentinels: Sentinels = field(default_factory=Sentinels)

    def number(self, answer: str) -> float | None:
        """Return the value that `answer` carries, inf or nan for a sentinel; None when it carries none."""
        part = self._part(answer.strip())
        if part is None:
            return None
        if self.form == "map":
            return self.map.get(part)
        if self.form == "bool":
            return _BOOLEANS.get(part.upper())
        meant = self.sentinels.meaning(part)
        number = meant if meant is not None else parse_number(part.removesuffix(self.suffix).rstrip())
        if number is None or not math.isfinite(number):
            return number
        if self.inverse:
            return 1.0 / (number * self.times) if number else None
        return number * self.times

    def _part(self, answer: str) -> str | None:
        if self.form != "csv":
            return answer.strip('"')
        parts = answer.split(",")
        return parts[self.part - 1].strip().strip('"') if len(parts) >= self.part else None
