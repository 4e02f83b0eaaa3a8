"""Records and captures to be stored, as small as they may be."""

import numpy as np

from station.capture import Capture, Channel
from station.record.record import interrupted_record
from station.units import RPM

STARTED, ENDED = "2026-11-25T10:00:00.000Z", "2026-11-25T10:00:30.000Z"


def capture(label="forward 1500", size=400):
    codes = {name: np.arange(size, dtype=np.int16) for name in ("v_ab", "v_bc", "v_ca")}
    channels = dict.fromkeys(codes, Channel(1e-3))
    return Capture(codes, channels, 4e-6, 0.0, 1500 * RPM, 1499 * RPM, 23.0, label=label)


def record_of(serial, verdict="PASS", captures=(), started=STARTED):
    heading = {"motor_type": {"name": "CP-40"}}
    entries = [{"label": one.label, "refused": None} for one in captures]
    return {**interrupted_record(serial, started, ENDED, heading), "verdict": verdict, "reason": "because",
            "captures": entries}


def run_of(store, serial, verdict="PASS", captures=(), started=STARTED):
    return store.finish(store.begin(serial, started=started), record_of(serial, verdict, captures), captures)
