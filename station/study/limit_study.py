"""One limit of a draft, moved over stored tests: what it costs in good motors, and what it lets escape."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from station.errors import UsageError
from station.judgement.limit_file import LimitFile
from station.study.escapes import Best, Costs, Curves, Places, best_bound, curves
from station.study.limit_sweep import Candidates, Side, Sweep, limit_called, sweep
from station.study.what_if import Span, Tests

STEPS = 81          # candidates, if nothing else is asked for
REACH = 0.4         # of the tolerance, or of a lone bound: how far they go to both sides of the draft's


@dataclass(frozen=True, slots=True)
class LimitStudy:
    """The curves of one limit, by itself and beside all others of the draft, and its best bound.

    `passed` counts first tests that pass by the whole draft with each bound. `score` are the curves, alone, on the
    tests held out, at `best` only; None where nothing was held out or there is no best bound.
    """

    key: str
    side: Side
    unit: str
    draft: float
    alone: Curves
    among: Curves
    passed: tuple[int, ...]
    first_tests: int
    best: Best | None
    score: Curves | None


def candidates_of(limits: LimitFile, key: str, side: str, bounds: tuple[float, float] | None = None,
                  steps: int = STEPS) -> Candidates:
    """Return bounds about that of a limit file, or from one number to another, the file's own among them.

    `side` is "lower", "upper", or "" for the only one that there is; UsageError when there is none or two.
    """
    limit = limit_called(limits, key)
    there = {name: bound for name, bound in (("lower", limit.lower), ("upper", limit.upper)) if bound is not None}
    chosen = side or (next(iter(there)) if len(there) == 1 else "")
    if chosen not in there:
        raise UsageError("which side of the limit is to be moved", where=key, expected=" or ".join(there),
                         got=side or "none", remedy="Name it with --side.")
    own = there[chosen]
    span = abs(limit.upper - limit.lower) if limit.lower is not None and limit.upper is not None else abs(own)
    first, last = bounds or (own - REACH * (span or 1.0), own + REACH * (span or 1.0))
    tried = sorted({*np.linspace(first, last, steps).tolist(), own})
    other = limit.upper if chosen == "lower" else limit.lower
    return Candidates(key, "lower" if chosen == "lower" else "upper",
                      tuple(b for b in tried if other is None or (b <= other if chosen == "lower" else b >= other)))


def study_limit(tests: Sequence[Tests], draft: LimitFile, candidates: Candidates, bad: Mapping[str, str],
                costs: Costs | None, chosen_on: Span, scored_on: Span | None) -> LimitStudy:
    """Return the study of a limit on the first tests that count.

    Parameters
    ----------
    bad : class of fault of each motor known to be bad, by serial
    chosen_on, scored_on : the tests that the best bound is found on, and those it is scored on
    """
    limit = limit_called(draft, candidates.key)
    swept = [(some, sweep(some.file, draft, some.in_force, candidates)) for some in tests]
    ordered = candidates.tightest_first()
    alone = _curves(swept, ordered, bad, chosen_on, among=False)
    best = best_bound(alone, costs) if costs is not None else None
    score = None
    if best is not None and scored_on is not None:
        score = _at(_curves(swept, ordered, bad, scored_on, among=False), best.bound)
    firsts = [(one, some.within(chosen_on) & some.first) for some, one in swept]
    passed = [sum(int((one.among[rows] <= k).sum()) for one, rows in firsts) for k in range(len(ordered))]
    bound = limit.lower if candidates.side == "lower" else limit.upper
    return LimitStudy(candidates.key, candidates.side, limit.unit, float(bound if bound is not None else np.nan), alone,
                      _curves(swept, ordered, bad, chosen_on, among=True), tuple(passed),
                      sum(int(rows.sum()) for _, rows in firsts), best, score)


def _curves(swept: Sequence[tuple[Tests, Sweep]], ordered: Sequence[float], bad: Mapping[str, str], span: Span, *,
            among: bool) -> Curves:
    good: list[Places] = []
    sorted_bad: dict[str, list[Places]] = {fault: [] for fault in sorted(set(bad.values()))}
    for some, one in swept:
        rows = np.flatnonzero(some.within(span) & some.first & one.measured)
        fails = (one.among if among else one.alone)[rows]
        serials = some.file.frame(("serial",))["serial"].take(rows).to_pylist()
        faults = np.array([bad.get(serial, "") for serial in serials], object)
        good.append(fails[faults == ""])
        for fault, found in sorted_bad.items():
            found.append(fails[faults == fault])
    return curves(ordered, np.concatenate(good), {fault: np.concatenate(found) for fault, found in sorted_bad.items()})


def _at(found: Curves, bound: float) -> Curves:
    place = found.bounds.index(bound)
    return replace(found, bounds=(bound,), false_rejects=found.false_rejects[place:place + 1],
                   escapes={fault: curve[place:place + 1] for fault, curve in found.escapes.items()})
