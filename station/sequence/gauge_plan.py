"""Gauge plans: which motors are tested how often under which circumstances, in which order; a TOML file."""

from collections import Counter
from collections.abc import Iterator
from collections.abc import Sequence as Ordered
from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np
from pydantic import Field

from station.errors import Fault, FileContractError
from station.record.gauge_run import GaugeRun
from station.toml_file import Table, TomlSource, check

Text = Annotated[str, Field(min_length=1, max_length=64, pattern=r"^[^\"\\\x00-\x1f]+$")]   # stands in quotes
By = Literal["refit", "shift", "station"]

COMMENT = {
    "refit": "each motor is put in anew in every round and then tested so often without a touch",
    "shift": "a round in each shift; the motor is put in anew before every test",
    "station": "a round at each station, whose id is the level; the motor is put in anew before every test",
}


class StudyTable(Table):
    """What the study is called and made of."""

    id: Text
    by: By
    levels: Annotated[list[Text], Field(min_length=2)]
    motors: Annotated[list[Text], Field(min_length=2)]
    repeats: Annotated[int, Field(ge=2, le=50)]
    seed: Annotated[int, Field(ge=0)]


class FittingTable(Table):
    """One time of putting a motor in, and the repeats tested before it is taken out."""

    level: str
    motor: str
    repeats: Annotated[list[int], Field(min_length=1)]


class PlanContract(Table):
    """A whole gauge plan."""

    format: int
    study: StudyTable
    fitting: Annotated[list[FittingTable], Field(min_length=1)]


@dataclass(frozen=True, slots=True)
class PlannedRun:
    """One run of the plan: the motor and its place in the study."""

    motor: str
    place: GaugeRun


@dataclass(frozen=True, slots=True)
class GaugePlan:
    """A study as planned; `runs` in the order in which they are to be made."""

    name: str
    sha256: str
    text: str
    study: StudyTable
    runs: tuple[PlannedRun, ...]


def draw_plan(study: StudyTable, random: np.random.Generator) -> list[FittingTable]:
    """Return the fittings of a study in random order: level by level, and in each its motors shuffled.

    So that what drifts while the study is made is no part of any motor. With `by` refit all repeats of a motor in a
    round are of one fitting; else each is a fitting of its own, all of a level shuffled together.
    """
    fittings: list[FittingTable] = []
    for level in study.levels:
        every = list(range(1, study.repeats + 1))
        if study.by == "refit":
            shuffled = [(study.motors[k], every) for k in random.permutation(len(study.motors))]
        else:
            shuffled = _one_by_one(study, every, random)
        fittings += [FittingTable(level=level, motor=motor, repeats=repeats) for motor, repeats in shuffled]
    return fittings


def plan_toml(study: StudyTable, fittings: Ordered[FittingTable]) -> str:
    """Return the file of a plan."""
    rows = [f'    {{ level = "{one.level}", motor = "{one.motor}", repeats = {one.repeats} }},' for one in fittings]
    return "\n".join([
        f"# Gauge study, by {study.by}: {COMMENT[study.by]}.", "# The order was drawn at random; do not sort it.",
        "format = 1", "", "fitting = [", *rows, "]", "", "[study]", f'id = "{study.id}"', f'by = "{study.by}"',
        f"levels = {_texts(study.levels)}", f"motors = {_texts(study.motors)}", f"repeats = {study.repeats}",
        f"seed = {study.seed}", ""])


def parse_plan(source: TomlSource) -> GaugePlan:
    """Return the plan in `source`.

    Raises
    ------
    FileContractError
        Every fault: above all each motor must have each repeat at each level exactly once.
    """
    contract = check(source, PlanContract)
    faults = [*_faults(contract, source.name)]
    if faults:
        raise FileContractError(faults)
    study = contract.study
    of = len(study.levels) * len(study.motors) * study.repeats
    ordered = [(number, one, repeat) for number, one in enumerate(contract.fitting, 1) for repeat in one.repeats]
    runs = tuple(PlannedRun(one.motor, GaugeRun(study.id, number, of, study.by, one.level, repeat, fitting,
                                                source.sha256))
                 for number, (fitting, one, repeat) in enumerate(ordered, 1))
    return GaugePlan(source.name, source.sha256, source.text, study, runs)


def _one_by_one(study: StudyTable, every: Ordered[int], random: np.random.Generator) -> list[tuple[str, list[int]]]:
    """Return every repeat of every motor as a fitting of its own; the repeats of a motor count up in that order."""
    drawn = random.permutation(np.repeat(np.arange(len(study.motors)), len(every)))
    made: Counter[str] = Counter()
    shuffled = []
    for k in drawn:
        motor = study.motors[k]
        made[motor] += 1
        shuffled.append((motor, [made[motor]]))
    return shuffled


def _faults(contract: PlanContract, name: str) -> Iterator[Fault]:
    study = contract.study
    for key, texts in (("levels", study.levels), ("motors", study.motors)):
        for text, count in Counter(texts).items():
            if count > 1:
                yield Fault(name, f"study.{key}", f"{text!r} {count} times", "each once", "Take the others out.")
    wanted = Counter((level, motor, repeat) for level in study.levels for motor in study.motors
                     for repeat in range(1, study.repeats + 1))
    planned = Counter((one.level, one.motor, repeat) for one in contract.fitting for repeat in one.repeats)
    for (level, motor, repeat), count in (wanted - planned).items():
        yield Fault(name, "fitting", f"no repeat {repeat} of {motor} at {level}", "every combination once",
                    f"Draw the plan anew; {count} is missing.")
    for (level, motor, repeat), count in (planned - wanted).items():
        yield Fault(name, "fitting", f"{count} too many of repeat {repeat} of {motor} at {level}",
                    "every combination once", "Draw the plan anew.")
    for one in contract.fitting:
        if one.repeats != sorted(one.repeats):
            yield Fault(name, "fitting", f"repeats {one.repeats} of {one.motor}", "repeats counted up",
                        "Sort the repeats of a fitting.")


def _texts(texts: Ordered[str]) -> str:
    return "[" + ", ".join(f'"{text}"' for text in texts) + "]"
