"""The study of a motor type: every limited characteristic, what is weak about it, and what moves together."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, is_dataclass
from math import inf, isfinite
from typing import Any

import numpy as np

from station.judgement.limit_file import LimitFile
from station.study.capability import ENOUGH, LEVEL, Estimate, proportion
from station.study.characteristic_study import CONFIDENCE, SHARE, CharacteristicStudy, study
from station.study.correlation import Correlation, Pair, correlate
from station.study.population import Population
from station.study.weakness import Remark, Told, Weight, percent, remarks, told_apart

PAIRS = 10              # of characteristics, the strongest, that are named
FORMAT = 1


@dataclass(frozen=True, slots=True)
class Row:
    """One characteristic with its study and its remarks."""

    study: CharacteristicStudy
    told: Told
    remarks: tuple[Remark, ...]

    @property
    def weight(self) -> Weight:
        """The heaviest remark."""
        return max((remark.weight for remark in self.remarks), default=Weight.NOTE)

    @property
    def rank(self) -> tuple[float, float, float]:
        """What it is sorted by, the weakest first: heaviest remark, index, share beyond the tolerance."""
        index = self.study.index.value if self.study.index else inf
        return -self.weight, index, -(self.study.beyond.share.value if self.study.beyond else 0.0)


@dataclass(frozen=True, slots=True)
class TypeStudy:
    """Everything that a study of a type says; `rows` with the weakest first."""

    population: Population
    limits: LimitFile
    rows: tuple[Row, ...]
    correlation: Correlation
    pairs: tuple[Pair, ...]

    @property
    def first_pass_yield(self) -> Estimate:
        """The share of motors whose first attempt passed, by the limits that they were judged by."""
        return proportion(self.population.passed, len(self.population))

    @property
    def drifting_lots(self) -> Mapping[str, list[str]]:
        """Which characteristics drift within which lot."""
        found: dict[str, list[str]] = {}
        for row in self.rows:
            for drift in row.told.drifts:
                found.setdefault(drift.lot, []).append(row.study.sample.key)
        return found


def study_type(population: Population, limits: LimitFile) -> TypeStudy:
    """Return the study of a population against the limits that it was gathered by."""
    studies = [study(population, sample) for sample in population.samples]
    rows = [Row(one, told, remarks(one, told)) for one, told in zip(studies, told_apart(studies), strict=True)]
    varying = [one for one in studies if one.sample.nature != "count" and one.shape]
    correlation = correlate([one.sample.key for one in varying],
                            [population.column(one.sample) for one in varying])
    families = [one.sample.name.partition(".")[0] for one in varying]
    return TypeStudy(population, limits, tuple(sorted(rows, key=lambda row: row.rank)), correlation,
                     tuple(correlation.strongest(PAIRS, families)))


def about_all(whole: TypeStudy) -> list[str]:
    """Return what holds for all characteristics, in sentences."""
    of, fpy = whole.population, whole.first_pass_yield
    what, yielded = ("tests", "Passed") if of.choice.every_run else ("motors", "First-pass yield")
    said = [f"{len(of)} {what}, {of.choice.words()}, {of.first} to {of.last}; "
            f"{len(of.lot_names)} lot(s), {len(of.station_names)} station(s).",
            f"{yielded} {of.passed} of {len(of)}: {percent(fpy.value)} (95 % interval {percent(fpy.low)} to "
            f"{percent(fpy.high)})."]
    if len(of) < ENOUGH:
        said.append(f"WARNING: fewer than {ENOUGH} motors; every index has a wide interval.")
    if len(of.lot_names) == 1:
        said.append("All motors are of one lot: what differs between lots cannot be told.")
    if of.benches > 1:
        said.append(f"WARNING: {of.benches} bench files are mixed (calibrations, corrections); a step may be theirs.")
    for lot, keys in whole.drifting_lots.items():
        said.append(f"Lot {lot} drifts, in {len(keys)} characteristic(s): {_some(keys)}.")
    weak = [row.study.sample.key for row in whole.rows if row.weight is Weight.WEAK]
    said.append(f"Weak: {_some(weak)}." if weak else "No characteristic is weak.")
    return said


def as_json(whole: TypeStudy) -> dict[str, Any]:
    """Return the study as plain JSON; numbers that are none or infinite as null."""
    of, limits = whole.population, whole.limits
    return {
        "format": FORMAT, "study": "type", "motor_type": of.motor_type, "sequence_revision": of.sequence_revision,
        "limit_file": {"name": limits.name, "revision": limits.revision.number, "sha256": limits.sha256},
        "logs": [{"origin": origin, "size": size, "root": root} for origin, size, root in of.logs],
        "choice": asdict(of.choice), "motors": len(of), "first": of.first, "last": of.last, "lots": list(of.lot_names),
        "stations": list(of.station_names), "level": LEVEL, "passed": of.passed,
        "first_pass_yield": _plain(whole.first_pass_yield), "about": about_all(whole),
        "tolerance_interval": {"share": SHARE, "confidence": CONFIDENCE},
        "characteristics": [_characteristic(row) for row in whole.rows],
        "pairs": _plain(whole.pairs),
        "correlation": {"keys": list(whole.correlation.keys), "r": _plain(whole.correlation.r.tolist()),
                        "n": whole.correlation.n.tolist()},
    }


def _characteristic(row: Row) -> dict[str, Any]:
    one, sample = row.study, row.study.sample
    fit = one.fit and {"family": one.fit.family, "p": one.fit.p, "is_poor": one.fit.is_poor,
                       "x50": one.fit.quantile(0.5), "x99_865": one.fit.quantile(0.99865)}
    return _plain({  # type: ignore[no-any-return]
        "key": sample.key, "characteristic": sample.name, "capture": sample.label, "unit": sample.unit,
        "nature": sample.nature, "lower": sample.lower, "upper": sample.upper, "n": one.n, "absent": sample.absent,
        "shape": one.shape, "beyond": one.beyond, "at_rails": one.rails,
        "capability": one.capability, "fit": fit, "index": one.index,
        "index_without_far_outside": one.usual_index, "outside_without_far_outside": one.usual_beyond,
        "index_of_quantiles": one.of_quantiles, "tolerance_interval": one.holds, "normality": one.normality,
        "two_heaps": one.heaps, "two_heaps_within_lots": one.heaps_within, "far_outside": one.far,
        "far_outside_share_of_variance": one.far_share, "s_without_measuring": one.true_s,
        "measuring_share_of_variance": one.measuring, "lots": one.lots, "stations": one.stations,
        "lots_differ": row.told.lots, "stations_differ": row.told.stations, "drifting": row.told.drifts,
        "remarks": [{"weight": remark.weight.name.lower(), "text": remark.text} for remark in row.remarks],
    })


def _plain(found: Any) -> Any:  # noqa: ANN401 - whatever a study consists of
    if is_dataclass(found) and not isinstance(found, type):
        return _plain(asdict(found))
    if isinstance(found, Mapping):
        return {name: _plain(part) for name, part in found.items()}
    if isinstance(found, (list, tuple)):
        return [_plain(part) for part in found]
    if isinstance(found, (float, np.floating)):
        return float(found) if isfinite(found) else None
    return found


def _some(keys: list[str]) -> str:
    more = f" and {len(keys) - 4} more" if len(keys) > 4 else ""
    return ", ".join(keys[:4]) + more
