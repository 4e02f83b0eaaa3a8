"""What the waves of many motors lie within, so that one motor can be seen beside them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from station.record.record import Record
from station.record.store import Store

Floats = NDArray[np.float64]

SHARES = (0.05, 0.5, 0.95)      # of the motors that lie below each edge
MOST = 200                      # motors whose waves are read, evenly drawn from all: a record takes 10 ms to read


@dataclass(frozen=True, slots=True)
class Envelope:
    """Of each capture and line: edges (3, n) in V per 1000 r/min over the rotor angles (n,), below which SHARES lie."""

    angles: Floats
    edges: Mapping[tuple[str, str], Floats]     # by label of the capture and line
    motors: int


def evenly_drawn(count: int, most: int = MOST) -> list[int]:
    """Return places of at most `most` of so many, from the first to the last; all of them where there are no more."""
    return list(range(count)) if count <= most else np.linspace(0, count - 1, most).round().astype(int).tolist()


def envelope(folder: Path, runs: Sequence[tuple[str, int]]) -> Envelope | None:
    """Return what the waves of these runs (serial, run) in a store lie within; None where none has any.

    Waves on other angles than the first one's are left out, as records of another version may have them.

    Raises
    ------
    EvidenceError
        A record was altered.
    """
    waves: dict[tuple[str, str], list[Sequence[float]]] = {}
    angles: Sequence[float] | None = None
    motors = 0
    with Store(folder, read_only=True) as store:
        for serial, run in runs:
            plots = _plots([record for record in store.show(serial) if record["run"] == run])
            motors += bool(plots)
            for label, line, at, wave in plots:
                angles = at if angles is None else angles
                if at == angles:
                    waves.setdefault((label, line), []).append(wave)
    if angles is None:
        return None
    return Envelope(np.array(angles), {key: np.quantile(np.array(some), SHARES, axis=0) for key, some in waves.items()},
                    motors)


def _plots(records: Sequence[Record]) -> list[tuple[str, str, Sequence[float], Sequence[float]]]:
    """Return label, line, angles and wave of each plot of some records."""
    return [(plot["label"], line, plot["angle_deg"], wave) for record in records for plot in record["plots"]
            for line, wave in plot["volts_per_krpm"].items()]
