"""How uncertain the stored values of a motor type are, and which limits are too narrow for that."""

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from station.errors import Fault, FileContractError
from station.judgement.limit_file import LimitFile
from station.judgement.limit_key import read_key
from station.judgement.narrow_limits import Narrow, find_narrow
from station.study.table_rows import Status
from station.study.wide_table import WideTable, read_table, revisions_of

HIGH = 0.95     # of the values are at most so uncertain as what limits are held against


def usual_u(table: WideTable, share: float = HIGH) -> Mapping[tuple[str, str], float]:
    """Return the standard uncertainty that `share` of the values do not exceed, by (full name, capture label)."""
    found = {}
    for key in table.keys:
        us = table.u(key)[table.status(key) == Status.MEASURED]
        us = us[np.isfinite(us)]
        if us.size:
            name, label = read_key(key)
            found[name, label or ""] = float(np.quantile(us, share, method="higher"))
    return found


def hold_against(store: Path, limits: LimitFile, file: str) -> list[Narrow]:
    """Return the limits that are uncomfortably narrow for how uncertain the values in a store are, by any sequence.

    Raises
    ------
    FileContractError
        Some are so narrow that nothing could be accepted; names them all.
    """
    motor_type = limits.motor_type.name
    us: dict[tuple[str, str], float] = {}
    for revision in revisions_of(store, motor_type):
        for key, u in usual_u(read_table(store, motor_type, revision)).items():
            us[key] = max(u, us.get(key, 0.0))
    found = find_narrow(limits, us)
    faults = [Fault(file, f"limits.{each.key}", each.words, "a tolerance wide enough for the uncertainty",
                    "Widen it, choose a rule that deducts less, or measure better.") for each in found if each.refused]
    if faults:
        raise FileContractError(faults)
    return found
