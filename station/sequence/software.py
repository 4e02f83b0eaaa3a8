"""Which software makes a record and its certificate: every version on which their numbers and bytes depend."""

import hashlib
import platform
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

import station
from station.certificate.renderer import renderer_versions


@cache
def software() -> dict[str, Any]:
    """Return the software of this process as the record holds it; read once, as a process does not change its own.

    `station_sha256` is what `find . -name '*.py' | LC_ALL=C sort | xargs sha256sum | sha256sum` gives in the folder
    of the package. Numbers may differ in their last bits with another numpy, BLAS or kind of processor.
    """
    blas = np.show_config(mode="dicts")["Build Dependencies"]["blas"]
    return {"station": station.__version__, "station_sha256": _source_sha256(Path(station.__file__).parent),
            "python": platform.python_version(), "numpy": np.__version__,
            "blas": f"{blas.get('name', '')} {blas.get('version', '')}".strip(), "machine": platform.machine(),
            "renderer": renderer_versions()}


def _source_sha256(folder: Path) -> str:
    names = sorted(f"./{path.relative_to(folder).as_posix()}" for path in folder.rglob("*.py"))
    lines = "".join(f"{hashlib.sha256((folder / name).read_bytes()).hexdigest()}  {name}\n" for name in names)
    return hashlib.sha256(lines.encode()).hexdigest()
