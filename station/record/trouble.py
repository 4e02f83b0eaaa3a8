"""Which runs are NO RESULT for what befell them, whatever their values say."""

from collections.abc import Mapping
from typing import Any

from station.record.record import INTERRUPTED

# How the reason of such a run begins.
TROUBLE = ("The test could not finish", "The bench did not reach its safe state", INTERRUPTED)


def is_trouble(record: Mapping[str, Any]) -> bool:
    """Return whether a run is NO RESULT for what befell it."""
    return record["verdict"] == "NO RESULT" and str(record["reason"]).startswith(TROUBLE)
