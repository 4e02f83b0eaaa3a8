"""What makes a value suspicious: its limits where a motor was judged, else a width no good motor should reach."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import isfinite, nan
from typing import Literal

Side = Literal["low", "high", "missing"]
Failed = Mapping[str, Side]
Bounds = Mapping[str, tuple[float | None, float | None]]


@dataclass(frozen=True, slots=True)
class Suspicion:
    """Which characteristics may be explained by a cause.

    `sides` holds the sides on which each full name failed, None when nothing was judged; `bounds`
    the limits of each full name in its unit. A judged motor is suspected only where it failed, so
    that nothing is ever said against a motor within its limits.
    """

    sides: Mapping[str, frozenset[Side]] | None = None
    bounds: Bounds = field(default_factory=dict)

    @property
    def is_judged(self) -> bool:
        """Whether limits are known."""
        return self.sides is not None

    def any(self, *names: str, unjudged: bool) -> bool:
        """Return whether one of `names` or their members failed; `unjudged` is the answer without limits."""
        if self.sides is None:
            return unjudged
        return any(failed == name or failed.startswith(name + ".") for failed in self.sides for name in names)

    def side_of(self, name: str, members: tuple[str, ...], *, every: bool) -> Side | None:
        """Return the side on which all members failed, or with `every` false any of them and none on the other."""
        sides = self.sides or {}
        each = [sides.get(f"{name}.{member}", sides.get(name, frozenset())) for member in members]
        for side, other in (("low", "high"), ("high", "low")):
            if all(side in found for found in each) if every else (
                    any(side in found for found in each) and not any(other in found for found in each)):
                return "low" if side == "low" else "high"
        return None

    def limits(self, *names: str) -> tuple[float, float]:
        """Return the lower and upper limit of the first of `names` that has any; nan for none."""
        lower, upper = next((self.bounds[name] for name in names if name in self.bounds), (None, None))
        return nan if lower is None else lower, nan if upper is None else upper

    def over_middle(self, value: float, *names: str) -> float:
        """Return `value` over the middle of its two limits; nan without both."""
        lower, upper = self.limits(*names)
        middle = (lower + upper) / 2
        return value / middle if isfinite(middle) and middle else nan


def suspicion(failed: Failed | None, bounds: Bounds | None = None) -> Suspicion:
    """Return what `failed` allows to be explained; its keys may carry "@label"."""
    if failed is None:
        return Suspicion(None, bounds or {})
    sides: dict[str, frozenset[Side]] = {}
    for key, side in failed.items():
        name = key.split("@")[0]
        sides[name] = sides.get(name, frozenset()) | {side}
    return Suspicion(sides, bounds or {})
