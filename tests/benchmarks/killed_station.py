"""A process that starts `station test` for each line of standard input and kills it while it works.

A line says after how many lines of its output, and how many seconds more, it is killed ("end 0" to let it come to its
end), and a serial number. The answer is JSON: what the station printed, and its exit code, None when it was killed.
Each start is a fork of this process, in which everything is imported already: what is killed is the station at work,
not the import of its libraries.
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


def station_test(station, serial, lines, seconds):
    """Carry out `station test` in a child; return what became of it."""
    heard, told = os.pipe()
    child = os.fork()
    if child == 0:
        os.dup2(told, 1)
        os.dup2(told, 2)
        code = program.run(["test", serial, "--station", station, *LEAVE])
        sys.stdout.flush()
        os._exit(code)
    os.close(told)
    with os.fdopen(heard) as words:
        printed = [line for line, _ in zip(words, range(lines), strict=False)] if lines is not None else []
        if lines is not None:
            time.sleep(seconds)
            os.kill(child, signal.SIGKILL)
        printed += words    # until the child has closed its end
    code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    return {"printed": "".join(printed), "code": code if code >= 0 else None}


def main(station):
    """Answer line after line."""
    for line in sys.stdin:
        lines, seconds, serial = line.split()
        told = station_test(station, serial, None if lines == "end" else int(lines), float(seconds))
        print(json.dumps(told), flush=True)


if __name__ == "__main__":
    main(sys.argv[1])
