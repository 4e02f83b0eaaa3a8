"""What is weak about a characteristic, in words for whoever sets its limits; pure."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from enum import IntEnum

from station.study.capability import ENOUGH, LEAST, Estimate
from station.study.characteristic_study import CharacteristicStudy
from station.study.lots import Between, Drift, significant
from station.units import printed

CAPABLE, BARE = 1.33, 1.0       # of an index; common practice, no source
WRONG = 0.01                    # of what is called different or drifting, so much is wrong on average
WORTH = 0.05                    # share of the variance between lots below which it is not worth a word
MOVED = 0.5                     # standard deviations within a lot below which a drift is not worth a word
MEASURED, BLURRED = 0.1, 0.3    # share of variance from measuring: worth a word, weak
ABNORMAL = 0.005                # chance below which a distribution is called not normal
NAMED = 5                       # serial numbers named before the others are only counted


class Weight(IntEnum):
    """How much a remark weighs."""

    NOTE = 0
    LOOK = 1
    WEAK = 2


@dataclass(frozen=True, slots=True)
class Remark:
    """One sentence on a characteristic."""

    weight: Weight
    text: str


@dataclass(frozen=True, slots=True)
class Told:
    """Which differences of one characteristic count, after all characteristics together were looked at."""

    lots: bool
    stations: bool
    drifts: tuple[Drift, ...]


def told_apart(studies: Sequence[CharacteristicStudy]) -> list[Told]:
    """Return which differences count among all that were looked for, in the order of `studies`."""
    lots = _counting([study.lots for study in studies])
    stations = _counting([study.stations for study in studies])
    every = [(place, drift) for place, study in enumerate(studies) for drift in study.drifts]
    counted = significant([drift.p for _, drift in every], WRONG)
    moved: dict[int, list[Drift]] = {}
    for (place, drift), counts in zip(every, counted, strict=True):
        if counts and abs(drift.change) >= MOVED * _within(studies[place]):
            moved.setdefault(place, []).append(drift)
    return [Told(place in lots, place in stations, tuple(moved.get(place, ()))) for place in range(len(studies))]


def remarks(study: CharacteristicStudy, told: Told) -> tuple[Remark, ...]:
    """Return everything worth saying of a characteristic, the heaviest first.

    Form and measuring weigh nothing where the process has room to spare.
    """
    found = [*_absent(study), *_counts(study), *_indices(study), *_groups(study, told), *_rails(study),
             *_lighter(study, [*_form(study), *_measuring(study)])]
    return tuple(sorted(found, key=lambda remark: -remark.weight))


def _lighter(study: CharacteristicStudy, found: Sequence[Remark]) -> list[Remark]:
    roomy = study.usual_index is not None and study.usual_index.low >= CAPABLE and not study.usual_beyond
    return [Remark(Weight.NOTE, remark.text) for remark in found] if roomy else list(found)


def _counting(found: Sequence[Between | None]) -> Collection[int]:
    there = [(place, one) for place, one in enumerate(found) if one is not None]
    counted = significant([one.p for _, one in there], WRONG)
    return {place for (place, one), counts in zip(there, counted, strict=True) if counts and one.share >= WORTH}


def _within(study: CharacteristicStudy) -> float:
    return study.lots.within_s if study.lots else study.shape.s if study.shape else 0.0


def _absent(study: CharacteristicStudy) -> list[Remark]:
    found = []
    if study.n < LEAST:
        found.append(Remark(Weight.LOOK, f"a value of only {motors(study.n)}: no index below {LEAST}"))
    elif study.n < ENOUGH:
        found.append(Remark(Weight.NOTE, f"only {study.n} motors: the intervals are wide; {ENOUGH} make them narrower"))
    if study.sample.absent:
        why = ", ".join(f"{count} {words}" for words, count in study.sample.absent.items())
        found.append(Remark(Weight.LOOK, f"no value of {motors(sum(study.sample.absent.values()))} ({why}): these "
                            "may well be the worse ones"))
    return found


def _counts(study: CharacteristicStudy) -> list[Remark]:
    beyond = study.beyond
    if beyond is None:
        return []
    share, low, high = (percent(part) for part in (beyond.share.value, beyond.share.low, beyond.share.high))
    words = f"outside the tolerance: {beyond.count} of {motors(study.n)} ({share}, 95 % interval {low} to {high})"
    if study.usual_beyond:
        return [Remark(Weight.WEAK, words)]
    if beyond.count:
        return [Remark(Weight.LOOK, f"{words}, far outside all others: defects rather than the process")]
    if study.sample.nature == "count":
        return [Remark(Weight.NOTE, f"none of {motors(study.n)} fails; up to {high} may (95 %)")]
    return []


def _indices(study: CharacteristicStudy) -> list[Remark]:
    index = study.index
    if index is None:
        return []
    found = [_index(index, study.usual_index or index, f"Ppk of the {study.fit.family} fit" if study.fit else "Ppk")]
    of = study.capability
    if of and of.pp and index.value < CAPABLE <= of.pp.value:
        middle = ((study.sample.lower or 0.0) + (study.sample.upper or 0.0)) / 2
        found.append(Remark(Weight.LOOK, f"its spread would fit (Pp {of.pp.value:.2f}), but the mean is "
                            f"{amount(of.mean - middle, study)} off the middle of the tolerance"))
    if of and of.cpk and index.value < CAPABLE <= of.cpk.value:
        found.append(Remark(Weight.LOOK, f"within a lot the process is capable (Cpk {of.cpk.value:.2f}): "
                            "what is missing lies between lots or stations"))
    return [remark for remark in found if remark.text]


def _index(index: Estimate, usual: Estimate, name: str) -> Remark:
    words = f"{name} {index.value:.2f} ({index.low:.2f} to {index.high:.2f})"
    if index.low >= CAPABLE:
        return Remark(Weight.NOTE, "")
    if index.value >= CAPABLE:
        return Remark(Weight.NOTE, f"{words}: looks capable, but less than {CAPABLE} is not ruled out")
    if usual.value >= CAPABLE:
        return Remark(Weight.LOOK, f"{words} is made by the motors far outside; without them {usual.value:.2f}")
    if index.value >= BARE:
        return Remark(Weight.LOOK, f"{words}: tight, below {CAPABLE}")
    return Remark(Weight.WEAK, f"{words}: the process is wider than its tolerance allows")


def _groups(study: CharacteristicStudy, told: Told) -> list[Remark]:
    found = []
    for word, between, counts in (("lots", study.lots, told.lots), ("stations", study.stations, told.stations)):
        if counts and between:
            found.append(Remark(Weight.LOOK, f"{word} differ: {percent(between.share)} of the variance lies between "
                                f"them (F {between.f:.3g}, p {between.p:.1g})"))
    for drift in told.drifts:
        found.append(Remark(Weight.LOOK, f"lot {drift.lot} drifts by {amount(drift.change, study)} from its first to "
                            f"its last motor ({abs(drift.change) / _within(study):.1f} standard deviations of a lot, "
                            f"p {drift.p:.1g})"))
    return found


def _form(study: CharacteristicStudy) -> list[Remark]:
    found = []
    if study.far:
        named = ", ".join(study.far[:NAMED]) + (f" and {len(study.far) - NAMED} more" if len(study.far) > NAMED else "")
        found.append(Remark(Weight.LOOK, f"far outside all others: {motors(len(study.far))}, with "
                            f"{percent(study.far_share)} of the variance: {named}"))
    if study.heaps:
        why = "two causes are mixed that are not the lots" if study.heaps_within else "the lots explain it: split them"
        found.append(Remark(Weight.LOOK, f"two heaps, at {amount(study.heaps.low, study)} and "
                            f"{amount(study.heaps.high, study)} ({percent(study.heaps.share)} in the upper): {why}"))
    elif study.capability and study.normality and study.normality.p < ABNORMAL:
        found.append(Remark(Weight.NOTE, f"not normal (Anderson-Darling {study.normality.statistic:.2f}, "
                            f"p {study.normality.p:.1g}): indices are a rough guide"))
    if study.fit and study.fit.is_poor and not study.heaps:
        found.append(Remark(Weight.LOOK, f"no family fits; the best, {study.fit.family}, is poor, and so is its index"))
    if study.sample.nature == "magnitude" and study.n >= LEAST and not study.fit and study.shape \
            and study.shape.least != study.shape.largest:
        found.append(Remark(Weight.LOOK, "values below zero, which a magnitude cannot have: no fit, no index"))
    return found


def _rails(study: CharacteristicStudy) -> list[Remark]:
    ends = () if study.shape is None else zip(study.rails, (study.shape.least, study.shape.largest), strict=True)
    return [Remark(Weight.LOOK, f"{motors(count)} at exactly {amount(end, study)}: the end of a range? What lies "
                   "beyond is not known") for count, end in ends if count]


def _measuring(study: CharacteristicStudy) -> list[Remark]:
    share = study.measuring
    if share is None or share < MEASURED:
        return []
    weight = Weight.WEAK if share >= BLURRED else Weight.LOOK
    if share >= 1:
        return [Remark(weight, "the spread between motors cannot be told from the uncertainty of measuring")]
    return [Remark(weight, f"up to {percent(share)} of the variance is uncertainty of measuring")]


def motors(count: int) -> str:
    """Return a number of motors in words."""
    return "1 motor" if count == 1 else f"{count} motors"


def percent(share: float) -> str:
    """Return a share in percent, with two digits where it is small."""
    return f"{100 * share:.2g} %" if share < 0.1 else f"{100 * share:.0f} %"


def amount(value: float, study: CharacteristicStudy) -> str:
    """Return a value with its unit."""
    return f"{value:.4g} {printed(study.sample.unit)}".rstrip()
