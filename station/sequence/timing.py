"""Where the time of a run goes: what physics asks for, what the station adds, what a person takes."""

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, Literal

Kind = Literal["physics", "station", "person", "meanwhile"]
BETWEEN = "between the phases"      # orders, answers, looks: what no phase accounts for


@dataclass(frozen=True, slots=True)
class Span:
    """One stretch of time, in s of the injected monotonic clock."""

    step: str
    phase: str
    kind: Kind      # "meanwhile": work of another thread while the run itself went on
    began: float
    ended: float


@dataclass(frozen=True, slots=True)
class Row:
    """What one phase took in one step, s of the monotonic clock."""

    step: str
    phase: str
    kind: Kind
    seconds: float

    def as_record(self) -> dict[str, Any]:
        """Return the row as the record holds it, to the tenth of a millisecond."""
        return {"step": self.step, "phase": self.phase, "kind": self.kind, "seconds": round(self.seconds, 4)}


@dataclass(slots=True)
class Timing:
    """Collects the spans of one run; any thread may add some."""

    now: Callable[[], float]
    spans: list[Span] = field(default_factory=list)
    _marks: list[tuple[str, float]] = field(default_factory=list)   # each step and when it began

    def begin(self, step: str) -> None:
        """Begin `step`; the one before it ends here."""
        self._marks.append((step, self.now()))

    @contextmanager
    def phase(self, name: str, kind: Kind) -> Iterator[None]:
        """Count the time inside the `with` block as `name` of the step under way."""
        step, began = self._marks[-1][0] if self._marks else "", self.now()
        try:
            yield
        finally:
            self.spans.append(Span(step, name, kind, began, self.now()))

    def rows(self) -> list[Row]:
        """Return what each phase of each step took so far, in the order in which they began."""
        spans, until = sorted(self.spans, key=lambda span: span.began), self.now()
        ends = [began for _, began in self._marks[1:]] + [until]
        rows: list[Row] = []
        for (step, began), ended in zip(self._marks, ends, strict=True):
            own = [span for span in spans if span.step == step]
            phases = dict.fromkeys((span.phase, span.kind) for span in own)
            rows += [Row(step, phase, kind, covered(s for s in own if (s.phase, s.kind) == (phase, kind)))
                     for phase, kind in phases]
            accounted = covered(span for span in own if span.kind != "meanwhile")
            rows.append(Row(step, BETWEEN, "station", max(ended - began - accounted, 0.0)))
        return rows


def covered(spans: Iterable[Span]) -> float:
    """Return how many seconds lie in at least one of `spans`: what goes on at the same time counts once."""
    total, reached = 0.0, float("-inf")
    for span in sorted(spans, key=lambda each: each.began):
        total += max(span.ended - max(span.began, reached), 0.0)
        reached = max(reached, span.ended)
    return total


def seconds_of(rows: Iterable[Row], *kinds: Kind) -> float:
    """Return the seconds of all rows of these kinds."""
    return sum(row.seconds for row in rows if row.kind in kinds)
