"""How much longer the cycle of a motor takes than the ramps, settling, dwells and captures it consists of."""

import os

os.environ["OPENBLAS_NUM_THREADS"] = "1"

import argparse
import sys
import tempfile
from itertools import pairwise
from math import log
from pathlib import Path
from time import perf_counter

from figures import Figure, print_figures

from station.cli.setup import write_folder
from station.cli.workplace import open_workplace
from station.sequence.progress import unwatched
from station.sequence.runs_gate import FurtherRun
from station.sequence.station_file import load_station
from station.sequence.timing import Row, seconds_of
from station.sequence_file import BackDriveStep, InsulationStep, SensorSupplyStep, WindingStep
from station.simulated.insulation import CAPACITANCE, DISCHARGE
from station.simulated.ohmmeter_instrument import CYCLE
from station.simulated.shaft import SETTLING

SERIAL = "CP40-0001"    # a good motor
AGAIN = FurtherRun("benchmark", "one motor, timed again and again")
PACES = (1.0, 5.0)
MOST = 0.03             # of the physics, at the pace of a real bench


def physics_of(step):
    """Return how long `step` takes at the simulated bench if nothing but physics takes time, s."""
    match step:
        case SensorSupplyStep():
            return step.settle_s
        case WindingStep():
            return 3 * CYCLE
        case InsulationStep():
            # Good insulation is no path of discharge beside the tester's own.
            return step.dwell_s + DISCHARGE * CAPACITANCE * log(step.voltage_V / step.discharged_below_V)
        case BackDriveStep():
            speeds = [0.0, *step.targets_rpm(), 0.0]
            ramps = sum(abs(b - a) for a, b in pairwise(speeds)) / step.ramp_rpm_per_s
            return ramps + sum(SETTLING + step.revolutions * 60 / abs(speed) for speed in step.targets_rpm())


def cycles(folder, pace, repeats):
    """Return the physics of one cycle, s at the bench, and the rows of each run after one to warm up."""
    write_folder(folder, pace=pace, free_ports=True)
    with open_workplace(load_station(folder / "station.toml"), "benchmark") as place:
        physics = sum(physics_of(step) for step in place.sequence.steps)
        return physics, [rows_of(place) for _ in range(repeats + 1)][1:]


def rows_of(place):
    """Test the motor, and return where the time went from the scan on."""
    scanned = perf_counter()
    run = place.test(SERIAL, unwatched, further=AGAIN)
    rows, whole = run.timing.rows(), perf_counter() - scanned
    if run.record["verdict"] != "PASS":
        raise SystemExit(f"{SERIAL} did not pass: {run.record['reason']}")
    known = seconds_of(rows, "physics", "station", "person")
    return [Row("Files and earlier runs", "", "station", whole - known), *rows]


def figures_of(pace, physics, runs):
    """Return the figures of the quickest run: on a busy machine the others measure the machine."""
    rows = min(runs, key=lambda each: seconds_of(each, "physics", "station"))
    cycle, lasting = seconds_of(rows, "physics", "station"), physics / pace
    at = f"pace {pace:g}"
    shown = [Figure(f"{at}: ramps, settling, dwells and captures", lasting, unit="s"),
             Figure(f"{at}: scan to durable verdict, less the wait for START", cycle, unit="s"),
             # The station's own work takes as long at any pace. At a higher one so does what the simulated bench
             # computes, which no real bench would, so that only pace 1 is held to the limit.
             Figure(f"{at}: beyond physics, of the physics at pace 1", 100 * (cycle - lasting) / physics, unit="%",
                    most=100 * MOST if pace == 1 else None)]
    parts = {"noticed late, in phases of physics": seconds_of(rows, "physics") - lasting}
    for row in rows:
        if row.kind == "station":
            name = row.step if row.step != "Verdict" else f"{row.step}, {row.phase}"
            parts[name] = parts.get(name, 0.0) + row.seconds
    return shown + [Figure(f"{at}:   {name}", 1000 * seconds, unit="ms") for name, seconds in parts.items()]


def main(arguments=None):
    """Print the table; 0 only if every figure is met."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=4, help="timed runs at each pace")
    trials = parser.parse_args(arguments).trials
    figures = []
    for pace in PACES:
        with tempfile.TemporaryDirectory() as folder:
            figures += figures_of(pace, *cycles(Path(folder) / "line", pace, trials))
    return print_figures(f"Cycle of {SERIAL}, standard sequence, quickest of {trials}", figures)


if __name__ == "__main__":
    sys.exit(main())
