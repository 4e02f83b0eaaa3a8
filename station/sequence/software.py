"""Which software makes a record and its certificate: every version on which their numbers and bytes depend."""

from typing import Any

from station.certificate.renderer import renderer_versions
from station.record.arithmetic import arithmetic_versions


def software() -> dict[str, Any]:
    """Return the software of this process as the record holds it."""
    return {**arithmetic_versions(), "renderer": renderer_versions()}
