"""Planning a gauge study at a station: what is asked for, drawn and held to the contract of its file."""

from collections.abc import Mapping
from collections.abc import Sequence as Ordered
from typing import Any

import numpy as np

from station.errors import UsageError
from station.judgement.limit_file import parse_limits
from station.sequence.gauge_plan import By, GaugePlan, StudyTable, draw_plan, parse_plan, plan_toml
from station.sequence.station_file import Station
from station.toml_file import parse_toml, read_toml

DEFAULT_LEVELS: Mapping[By, tuple[str, ...]] = {
    "refit": ("round 1", "round 2", "round 3"), "shift": ("early", "late", "night"), "station": ()}
MOST_RUNS = 5000


def planned_study(station: Station, study: str, by: By, levels: Ordered[str], motors: Ordered[str], repeats: int,
                  seed: int, file: str) -> tuple[str, GaugePlan]:
    """Return text and meaning of a plan drawn from a seed; without `levels` they are those usual for `by`.

    Raises
    ------
    UsageError
        The motors are of more than one type, or it would be too many runs to be made by anybody.
    FileContractError
        No type has such a motor, or what is asked for makes no study; names every fault, as of the file `file`.
    """
    levels = list(levels or DEFAULT_LEVELS[by])
    if len(levels) * len(motors) * repeats > MOST_RUNS:
        raise UsageError("too many runs for a study", where=f"gauge study {study}", expected=f"at most {MOST_RUNS}",
                         got=f"{len(motors)} motors x {len(levels)} x {repeats}", remedy="Ask for fewer of each.")
    types = {parse_limits(read_toml(station.limit_file_for(motor))).motor_type.name for motor in motors}
    if len(types) > 1:
        raise UsageError("motors of more than one type do not compare", where=f"gauge study {study}",
                         expected="motors of one type", got=", ".join(motors), remedy="Plan a study for each type.")
    asked: dict[str, Any] = {"id": study, "by": by, "levels": levels,
                             "motors": list(motors), "repeats": repeats, "seed": seed}
    contract = StudyTable.model_construct(**asked)      # unchecked: what is wrong with it is told as of a file, below
    text = plan_toml(contract, draw_plan(contract, np.random.default_rng(seed)))
    return text, parse_plan(parse_toml(text.encode(), file))
