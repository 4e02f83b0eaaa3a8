"""What every benchmark prints: figures beside what they must be, and whether each is met."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite


@dataclass(frozen=True, slots=True)
class Figure:
    """One measured figure; `error` is its own standard error, `least` and `most` what it must keep to.

    A figure is missed only if it lies outside by more than two of its standard errors, so that a
    Monte Carlo of few trials neither passes nor fails by luck. NaN is never met.
    """

    name: str
    value: float
    error: float = 0.0
    least: float | None = None
    most: float | None = None
    unit: str = ""

    @property
    def met(self) -> bool:
        """Whether the figure keeps to its bounds."""
        room = 2 * self.error
        return (isfinite(self.value) and isfinite(self.error)
                and (self.most is None or self.value - room <= self.most)
                and (self.least is None or self.value + room >= self.least))


def print_figures(title: str, figures: Sequence[Figure]) -> int:
    """Print a table of figures; return how many are not met, to be used as an exit code."""
    print(f"\n{title}")
    width = max((len(f.name) for f in figures), default=0)
    for f in figures:
        bound = " and ".join(f"{word} {limit:g}" for word, limit in (("at least", f.least), ("at most", f.most))
                             if limit is not None)
        error = f" ± {f.error:.2g}" if f.error else ""
        state = ("met" if f.met else "NOT MET") if bound else ""
        print(f"  {f.name:<{width}}  {f'{f.value:.4g}{error} {f.unit}':<26} {bound:<22} {state}".rstrip())
    missed = sum(not f.met for f in figures)
    print(f"  {len(figures)} figures, {missed} not met")
    return min(missed, 1)
