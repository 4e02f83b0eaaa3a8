"""A process that writes runs into a store and says what is begun and what is finished: to be stopped at any moment.

Two ways: `kill FOLDER` starts a child for each line of standard input, a time in seconds after which the child is
killed, and answers with what it said, as JSON. `trace FOLDER WAY ...` writes a few runs each way into a folder of
that name: FULL as the store is, or with one of its precautions taken away.
"""

import os

os.environ["OPENBLAS_NUM_THREADS"] = "1"

import json
import signal
import sys
import time
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from unittest.mock import patch

import numpy as np
import pandas  # noqa: F401 - pyarrow imports it at its first array: here, so that no child spends its life on it
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from station.capture import Capture, Channel
from station.record import schema
from station.record.kept_files import keep_file
from station.record.log_key import LogKey
from station.record.record import canonical, interrupted_record, sha256_of
from station.record.store import Store

SERIAL, STARTED, ENDED = "CP40-0001", "2026-11-25T10:00:00.000Z", "2026-11-25T10:00:30.000Z"
HEADING = {"operator": "K. Lind"}
KEY = LogKey("eol-1", Ed25519PrivateKey.from_private_bytes(bytes(range(32))))
TRANSCRIPT = b'{"text": "*IDN?"}\n' * 100
CHECK_EVERY = 5         # runs
TRACED_RUNS = 8
WAYS = ("FULL", "NORMAL", "OFF", "files not synced", "folders not synced")


def capture(number):
    """Return a small capture with codes of its own."""
    codes = np.random.default_rng(number).integers(-900, 900, (3, 700)).astype(np.int16)
    names = ("v_ab", "v_bc", "v_ca")
    return Capture(dict(zip(names, codes, strict=True)), dict.fromkeys(names, Channel(1e-3)), 4e-6, 0.0, 157.0, 157.0,
                   23.0, label="forward 1500")


def record_of(limits):
    """Return a record with one capture and the hash of its limit file, to be finished."""
    return {**interrupted_record(SERIAL, STARTED, ENDED, HEADING), "verdict": "PASS", "reason": "all within limits",
            "limit_file": {"name": "CP-40.toml", "sha256": limits}, "captures": [{"label": "forward 1500"}]}


def open_store(folder):
    """Open the store for writing, as the station does: with the key of its log."""
    return Store(folder, log_key=KEY, origin=KEY.name)


def write_runs(folder, tell, runs):
    """Write runs into the store in `folder`; `tell` each step once it is durable, and the head of the log."""
    with open_store(folder) as store:
        store.close_unfinished(ended=ENDED)
        for _ in range(runs):
            limits = keep_file(folder, f"limits in force before run {len(store.log)}\n".encode())
            run_id = store.begin(SERIAL, started=STARTED, heading=HEADING)
            tell(f"begun {run_id}")
            store.spool(run_id).write_bytes(TRANSCRIPT)
            kept = store.keep_capture(run_id, SERIAL, 1, capture(run_id))
            stored = store.finish(run_id, record_of(limits), [kept], TRANSCRIPT)
            tell(f"finished {run_id} {sha256_of(canonical(stored))}")
            head = store.log.head()
            tell(f"head {head.size} {head.root.hex()}")
            if run_id % CHECK_EVERY == 0:
                check = store.add_reference_check({"motor_type": "CP-40", "result": "GOOD"})
                tell(f"checked {check['check']}")


def tell(channel, before, words):
    """Say `words` at once."""
    os.write(channel, f"{before}{words}\n".encode())


def killed_after(folder, seconds):
    """Start a child that writes without end, kill it after `seconds`, and return what it said."""
    heard, told = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(heard)
        write_runs(folder, partial(tell, told, ""), sys.maxsize)
    os.close(told)
    time.sleep(seconds)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    with os.fdopen(heard) as words:
        return words.read().splitlines()


@contextmanager
def less_careful(way):
    """Take away the precaution that `way` names."""
    if way in ("NORMAL", "OFF"):
        class Loose(schema.Connection):
            def execute(self, sql, *more):
                return super().execute(sql.replace("synchronous = FULL", f"synchronous = {way}"), *more)
        with patch.object(schema, "Connection", Loose):
            yield
    elif way == "FULL":
        yield
    else:
        def fsync(descriptor, sync=os.fsync):
            is_folder = Path(f"/proc/self/fd/{descriptor}").is_dir()
            if is_folder is not (way == "folders not synced"):
                sync(descriptor)
        with patch.object(os, "fsync", fsync):
            yield


def main(arguments):
    """Carry out one of the two ways."""
    folder = Path(arguments[1])
    if arguments[0] == "kill":
        for line in sys.stdin:
            print(json.dumps(killed_after(folder, float(line))), flush=True)
        return
    for way in arguments[2:]:
        with less_careful(way):
            write_runs(folder / way.replace(" ", "-"), partial(tell, 1, f"{way}: "), TRACED_RUNS)


if __name__ == "__main__":
    main(sys.argv[1:])
