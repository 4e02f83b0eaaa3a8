"""Which programs the numbers of a record were computed with, and how those of today differ."""

import hashlib
import platform
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

import station


@cache
def arithmetic_versions() -> dict[str, str]:
    """Return every version of this process on which numbers depend; read once, as a process does not change its own.

    `station_sha256` is what `find . -name '*.py' | LC_ALL=C sort | xargs sha256sum | sha256sum` gives in the folder
    of the package. Numbers may differ in their last bits with another numpy, BLAS or kind of processor.
    """
    blas = np.show_config(mode="dicts")["Build Dependencies"]["blas"]
    return {"station": station.__version__, "station_sha256": _source_sha256(Path(station.__file__).parent),
            "python": platform.python_version(), "numpy": np.__version__,
            "blas": f"{blas.get('name', '')} {blas.get('version', '')}".strip(), "machine": platform.machine()}


def differing_arithmetic(record: Mapping[str, Any]) -> dict[str, tuple[str, str]]:
    """Return what computed the numbers of `record` otherwise than today: name, version then, version now.

    Where nothing differs, computing them again gives the same bits. What the record does not say is "".
    """
    then = record.get("software") or {}
    return {name: (str(then.get(name) or ""), now) for name, now in arithmetic_versions().items()
            if then.get(name) != now}


def _source_sha256(folder: Path) -> str:
    names = sorted(f"./{path.relative_to(folder).as_posix()}" for path in folder.rglob("*.py"))
    lines = "".join(f"{hashlib.sha256((folder / name).read_bytes()).hexdigest()}  {name}\n" for name in names)
    return hashlib.sha256(lines.encode()).hexdigest()
