"""How long each step of the sequence took last, by motor type: what the time left is told by."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from station.clock import Clock, stamp
from station.record.store import Store
from station.sequence_file import Sequence

BACK = timedelta(hours=24)      # as far as it looks when the station opens; a record is read whole to be checked


class StepTimes:
    """Seconds of the steps in the last finished test of each motor type; an unfinished one tells nothing."""

    def __init__(self, store: Store, sequence: Sequence, clock: Clock) -> None:
        self._sequence, self.by_type = sequence.sha256, dict[str, Mapping[str, float]]()
        for record in store.find(since=stamp(clock.utc() - BACK)):
            self.learn(record)

    def learn(self, record: Mapping[str, Any]) -> None:
        """Take the times of a record of the sequence in force."""
        steps = record.get("steps", [])
        if record["verdict"] == "NO RESULT" or record["sequence"]["sha256"] != self._sequence:
            return
        if all(step["outcome"] in ("done", "failed") and not step["note"] for step in steps):
            self.by_type[record["motor_type"]["name"]] = {step["name"]: _seconds(step) for step in steps}


def _seconds(step: Mapping[str, str]) -> float:
    return (datetime.fromisoformat(step["ended"]) - datetime.fromisoformat(step["started"])).total_seconds()
