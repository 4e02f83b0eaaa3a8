"""How values that were computed again stand to those in the records: counted whole, and by characteristic."""

from collections import Counter
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from station.audit.values import Agreement

# What is worth a line of its own.
TELLING = (Agreement.DIFFERS, Agreement.UNFOUNDED, Agreement.LEFT_OUT)


@dataclass(slots=True)
class OfCharacteristic:
    """What became of one characteristic in all tests; `most_u` is the largest difference in units of the stored u."""

    counts: Counter[str] = field(default_factory=Counter)
    most_u: float = 0.0


@dataclass(slots=True)
class Differences:
    """Counts over all rows added so far; what no record is there for counts as "" and is compared with nothing."""

    counts: Counter[str] = field(default_factory=Counter)
    by_name: dict[str, OfCharacteristic] = field(default_factory=dict)

    @property
    def is_none(self) -> bool:
        """Whether every value agrees with its record, within rounding."""
        return not any(self.counts[each] for each in TELLING)

    def add(self, rows: pa.Table) -> None:
        """Count the rows of a table of results."""
        shifts = pa.array(_in_u(rows))
        plain = pa.table({"name": rows["name"].cast(pa.string()), "most": shifts,
                          "agreement": pc.fill_null(rows["agreement"].cast(pa.string()), "")})
        found = plain.group_by(["name", "agreement"]).aggregate([("most", "max"), ("name", "count")])
        for name, agreement, most, count in zip(*(found[key].to_pylist() for key in (
                "name", "agreement", "most_max", "name_count")), strict=True):
            self.counts[agreement] += count
            one = self.by_name.setdefault(name, OfCharacteristic())
            one.counts[agreement] += count
            one.most_u = max(one.most_u, most or 0.0)

    def telling(self) -> list[tuple[str, OfCharacteristic]]:
        """Return the characteristics of which some value does not agree, the largest difference first."""
        found = [(name, one) for name, one in self.by_name.items() if any(one.counts[each] for each in TELLING)]
        return sorted(found, key=lambda each: (-each[1].most_u, each[0]))


def _in_u(rows: pa.Table) -> np.ndarray:
    """Return by how many of its stored standard uncertainties each value differs; 0 where that cannot be said."""
    value, stored, u = (rows[key].to_numpy().astype(np.float64) for key in ("value", "stored_value", "stored_u"))
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        shift = np.abs(value - stored) / u
    return np.where(np.isfinite(shift), shift, 0.0)
