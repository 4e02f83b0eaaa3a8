"""A process that hands over to a plant and is killed at any moment.

For each line of standard input, a time in seconds, a child begins to hand the store over; it is killed after that time
unless it has ended. It is answered with 0 where the child had handed everything over, 1 else.

`stopped_forwarder.py STATION_FILE`
"""

import os

os.environ["OPENBLAS_NUM_THREADS"] = "1"

import signal
import sys
import time
from contextlib import suppress
from pathlib import Path

from station.cli.forwarding import open_hand_over
from station.clock import system_clock
from station.errors import StationError
from station.sequence.station_file import load_station


def handed_over(station_file):
    """Hand over until nothing is left; with an error, which a cut network may be, not everything is."""
    with suppress(StationError):
        return open_hand_over(load_station(station_file), system_clock()).work(lambda: True).is_done
    return False


def killed_after(seconds, station_file):
    child = os.fork()
    if child == 0:
        os._exit(0 if handed_over(station_file) else 1)
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.002)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return 1


if __name__ == "__main__":
    for line in sys.stdin:
        sys.stdout.write(f"{killed_after(float(line), Path(sys.argv[1]))}\n")
        sys.stdout.flush()
