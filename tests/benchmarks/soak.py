"""Faults of every kind at random messages of random instruments: no wrong verdict, no unsafe end, no lost record."""

import os

os.environ["OPENBLAS_NUM_THREADS"] = "1"

import argparse
import json
import random
import sys
import tempfile
import time
from collections import Counter, defaultdict
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from broken_runs import BAD, GOOD, Case, faulty_station, run_case
from figures import Figure, print_figures

from station.errors import StationError
from station.simulated.fault_plan import FAULTS, FRAMES, OF_FRAMES

PROCESSES = 4           # half of the time a run waits for deadlines
FAULTS_ASKED = 2000
BATCH = 40              # runs on one bench before it and its store are made afresh
CLEAN_EVERY = 10        # every so many runs nothing is armed, and the verdict must be the right one
SECOND_FAULT = 0.3      # share of runs in which two faults are armed
ROLES = ("drive", "digitizer", "ohmmeter", "supply", "insulation", "thermometer", "guard")
SECONDS = {"trickle": (0.001, 0.2), "late": (0.001, 0.3), "half_late": (0.01, 0.8), "other_serial": (0.1, 3.0),
           "no_ramp": (0.2, 2.0), "runs_on": (0.2, 10.0)}
LASTING = (0.05, 1.5)   # wall seconds of every other fault that lasts


def draw(drawn, messages, over="sockets"):
    """Return one case; `messages` says how many a whole run sends to each role."""
    serial = GOOD if drawn.random() < 0.5 else drawn.choice(BAD)
    count = 2 if drawn.random() < SECOND_FAULT else 1
    return Case(serial, tuple(_draw_fault(drawn, messages, over) for _ in range(count)))


def _draw_fault(drawn, messages, over):
    role = drawn.choice(ROLES)
    kind = drawn.choice(list(FRAMES.kinds if over == "modbus" and role == "drive" else FAULTS))
    seconds = drawn.uniform(*SECONDS.get(kind, LASTING))
    times = drawn.choice((1, 1, 1, 2, 5))
    return role, kind, drawn.randrange(messages[role]), round(seconds, 4), times


def messages_of(place):
    """Return how many messages the last run sent to each role."""
    entries = [json.loads(line) for line in place.bench.transcript.as_json_lines().splitlines()]
    counted = Counter(entry["role"].removesuffix(" (stop)") for entry in entries if entry["direction"] == "to")
    return {role: counted[role] for role in ROLES}


def batch(seed, runs, over="sockets", folder=None):
    """Carry out `runs` runs on a bench of their own; return what came of each."""
    try:
        return _batch(seed, runs, over, folder)
    except StationError as error:       # such an error cannot be carried to another process
        before = f"; before it {error.__context__!r}" if error.__context__ else ""
        raise RuntimeError(f"batch {seed}: {error}{before}") from None


def _batch(seed, runs, over, folder):
    drawn = random.Random(seed)
    with (tempfile.TemporaryDirectory(dir=folder) as home,
          faulty_station(Path(home) / "line", over=over) as (place, side)):
        run_case(place, side, Case(GOOD))       # the first run in a process also imports, outside any deadline's idea
        results = [run_case(place, side, Case(GOOD))]
        messages = messages_of(place)
        for number in range(1, runs):
            clean = number % CLEAN_EVERY == 0
            case = Case(drawn.choice((GOOD, *BAD))) if clean else draw(drawn, messages, over)
            results.append(run_case(place, side, case))
        # What struck last may still last; a bench is given back only once it is fit, as its safe state says so.
        results.append(run_case(place, side, Case(GOOD)))
    return results


def soak(faults, processes=PROCESSES, seed=1, over="sockets"):
    """Return the results of as many runs as it takes for `faults` faults to strike."""
    results, struck, seeds = [], 0, iter(range(seed * 10_000, seed * 10_000 + 10_000))
    with ProcessPoolExecutor(processes) as pool:
        pending = []
        while struck < faults:
            while len(pending) < processes and struck + 0.8 * BATCH * len(pending) < faults:
                pending.append(pool.submit(batch, next(seeds), BATCH, over))
            done = pending.pop(0).result()
            struck += sum(len(result.struck) for result in done)
            results += done
        for future in pending:
            results += future.result()
    return results


def table(results):
    """Return the table by fault as lines: how often it struck, what became of the runs, and what must not be.

    A run with two faults counts in both lines. "told" are hazards that no computer could end, such as a drive that
    obeys nothing, and that the record names together with the remedy.
    """
    rows = defaultdict(Counter)
    for result in results:
        for kind in result.struck or ("(none)",):
            row = rows[kind]
            row["struck"] += 1
            row[result.verdict] += 1
            for evil in ("wrong", "unsafe", "told", "lost", "crashed"):
                row[evil] += bool(getattr(result, evil))
    columns = ("struck", "PASS", "FAIL", "NO RESULT", "wrong", "unsafe", "told", "lost", "crashed")
    lines = [f"{'fault':<16}" + "".join(f"{column:>11}" for column in columns)]
    return lines + [f"{kind:<16}" + "".join(f"{rows[kind][column]:>11}" for column in columns)
                    for kind in [*FAULTS, *OF_FRAMES, "(none)"] if kind in rows]


def main(arguments=None):
    """Run the soak and print its figures; 0 if all are met."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--faults", type=int, default=FAULTS_ASKED)
    parser.add_argument("--processes", type=int, default=PROCESSES)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--over", choices=("sockets", "hislip", "modbus"), default="sockets",
                        help="what carries the messages; modbus: those of the drive")
    asked = parser.parse_args(arguments)
    begun = time.monotonic()
    results = soak(asked.faults, asked.processes, asked.seed, asked.over)
    took = time.monotonic() - begun
    print("\n".join(table(results)))
    for result in results:
        if result.evil:
            print(f"\n{result}")
    evils = {name: sum(bool(getattr(result, name)) for result in results)
             for name in ("wrong", "unsafe", "lost", "crashed")}
    speechless = sum(not result.reason for result in results)
    return print_figures(f"Soak: {len(results)} runs in {took:.0f} s, {took / len(results):.2f} s each", [
        Figure("faults that struck", sum(len(result.struck) for result in results), least=asked.faults),
        Figure("wrong verdicts", evils["wrong"], most=0),
        Figure("unsafe ends, not told", evils["unsafe"], most=0),
        Figure("lost records", evils["lost"], most=0),
        Figure("runs that ended without a record of their own", evils["crashed"], most=0),
        Figure("verdicts without a reason", speechless, most=0),
    ])


if __name__ == "__main__":
    sys.exit(main())
