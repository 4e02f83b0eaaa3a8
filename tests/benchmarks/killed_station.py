"""A process that starts `station test` for each line of standard input and kills it after a time.

A line is a time in seconds, or "end" to let it come to its end, and a serial number. The answer is JSON: what the
station printed, its exit code (None when it was killed), and how long it lived. Each start is a fork of this process,
in which everything is imported already: what is killed is the station at work, not the import of its libraries.
"""

import os

os.environ["OPENBLAS_NUM_THREADS"] = "1"

import json
import signal
import sys
import time

import pandas  # noqa: F401 - imported late by pyarrow otherwise

from station.cli import program

LEAVE = ("--again", "--person", "K. Lind", "--reason", "the same motors are tested again and again")


def station_test(station, serial, seconds):
    """Carry out `station test` in a child; return what became of it."""
    heard, told = os.pipe()
    begun = time.monotonic()
    child = os.fork()
    if child == 0:
        os.dup2(told, 1)
        os.dup2(told, 2)
        code = program.run(["test", serial, "--station", station, *LEAVE])
        sys.stdout.flush()
        os._exit(code)
    os.close(told)
    if seconds is not None:
        time.sleep(seconds)
        os.kill(child, signal.SIGKILL)
    with os.fdopen(heard) as words:     # until the child has closed its end
        printed = words.read()
    ended = os.waitpid(child, 0)[1]
    code = os.waitstatus_to_exitcode(ended)
    return {"printed": printed, "code": code if code >= 0 else None, "seconds": time.monotonic() - begun}


def main(station):
    """Answer line after line."""
    for line in sys.stdin:
        seconds, serial = line.split()
        print(json.dumps(station_test(station, serial, None if seconds == "end" else float(seconds))), flush=True)


if __name__ == "__main__":
    main(sys.argv[1])
