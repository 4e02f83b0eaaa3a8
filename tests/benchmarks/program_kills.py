"""The whole program, `station test` on its embedded bench, killed at random moments; every start after it is an audit.

What was shown as a verdict is stored as such; a motor in test when it was killed has NO RESULT after the next start;
the store stands an audit all the time, and the next test needs no repair.
"""

import argparse
import json
import random
import re
import subprocess
import sys
import tempfile
import time
from collections import Counter
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from figures import Figure, print_figures

from station.audit.store_audit import Scope, audit_store
from station.audit.trusted import load_trusted
from station.cli.setup import write_folder
from station.record.store import Store

KILLS = 100
PACE = 100.0
LONGEST = 0.2       # s that the program goes on after the line at which it shall be killed
SERIALS = {"CP40-0001": "PASS", "CP40-0002": "FAIL", "VB24-0001": "PASS"}     # with the verdict that each deserves
STARTER = Path(__file__).with_name("killed_station.py")
VERDICT = re.compile(r"^[✓✗–] (PASS|FAIL|NO RESULT) +(\S+)", re.MULTILINE)


@dataclass
class Seen:
    """Verdicts shown so far, in order, motors in test, and whatever must not be."""

    shown: list = field(default_factory=list)
    faults: list = field(default_factory=list)
    killed_at: Counter = field(default_factory=Counter)     # by the last thing the program had said
    lines: int = 0          # that an undisturbed test prints


@contextmanager
def starter(folder):
    """Yield a function that tests one motor, to the end or until so many lines are printed and seconds have gone."""
    words = [sys.executable, "-W", "error", str(STARTER), str(folder / "station.toml")]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as started:
        def start(serial, lines="end", seconds=0.0):
            started.stdin.write(f"{lines} {seconds} {serial}\n")
            started.stdin.flush()
            return json.loads(started.stdout.readline())
        yield start
        started.stdin.close()


def kill_stations(folder, kills, seed=1):
    """Test motors in a new station in `folder`, all but the first and the last killed; return what was seen."""
    write_folder(folder, pace=PACE, free_ports=True)
    drawn, seen = random.Random(seed), Seen()
    with starter(folder) as start:
        _test(start, folder, "CP40-0001", seen)
        for _ in range(kills):
            # Anywhere; or where the record is written, after the last line before the verdict; or at its paper.
            line = drawn.choice((drawn.randrange(seen.lines), drawn.randrange(seen.lines), seen.lines - 1, seen.lines))
            _test(start, folder, drawn.choice(list(SERIALS)), seen, line, drawn.uniform(0, LONGEST))
        _test(start, folder, "CP40-0002", seen)
    report = audit_store(folder / "store", load_trusted(None, None, folder / "keys"), Scope())
    seen.faults += [f"audit with recomputation: {finding}" for finding in report.findings if not report.is_clean]
    return seen


def _test(start, folder, serial, seen, *when):
    before = _verdicts(folder)
    ended = start(serial, *when)
    shown = [(found[2], found[1]) for found in VERDICT.finditer(ended["printed"])]
    seen.shown += shown
    if not when:
        seen.lines = ended["printed"].count("\n")
        if shown != [(serial, SERIALS[serial])]:
            seen.faults.append(f"{serial} was to end with {SERIALS[serial]}: {ended['printed'][-400:]}")
    elif ended["code"] is None:
        seen.killed_at[_phase(ended["printed"])] += 1
    seen.faults += _faults(folder, before, serial, shown)


def _verdicts(folder):
    if not (folder / "store" / "records.sqlite").is_file():
        return []
    with Store(folder / "store", read_only=True) as store:
        return [(record["serial"], record["verdict"]) for record in store.find()]


def _faults(folder, before, serial, shown):
    """Return what is wrong with the store after a station that tested `serial` and showed these verdicts."""
    faults, now = [], _verdicts(folder)
    if now[:len(before)] != before:
        faults.append("earlier records changed")
    closed, new = now[len(before):], [(serial, SERIALS[serial])]
    # First come motors that an earlier kill left in test, then this one, which may be stored and not yet shown.
    if [verdict for _, verdict in closed if verdict != "NO RESULT"] not in ([], [SERIALS[serial]]):
        faults.append(f"{serial} became {closed}")
    if shown not in ([], new) or (shown and closed[-1:] != new):
        faults.append(f"{shown} was shown, {closed} is stored")
    with Store(folder / "store", read_only=True) as store:
        unfinished = [run.serial for run in store.unfinished()]
    if unfinished not in ([], [serial]):
        faults.append(f"runs of {unfinished} are open")
    report = audit_store(folder / "store", load_trusted(None, None, folder / "keys"), Scope(recompute=False))
    return faults + [f"audit: {finding}" for finding in report.findings if not report.is_clean]


def _phase(printed):
    """Return the last step that the program had announced."""
    if VERDICT.search(printed):
        return "after the verdict"
    steps = [line.removeprefix("  · ") for line in printed.splitlines() if line.startswith("  · ")]
    if steps:
        return steps[-1]
    return "waiting for START" if "armed" in printed else "before START"


def main(arguments=None):
    """Print where the program was killed, and the figures; 0 only if nothing was lost."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=KILLS)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args(arguments)
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as home:
        seen = kill_stations(Path(home) / "line", asked.kills, asked.seed)
        stored = Counter(verdict for _, verdict in _verdicts(Path(home) / "line"))
    for phase, count in seen.killed_at.most_common():
        print(f"  killed {count:>4} times in: {phase}")
    for fault in seen.faults:
        print(f"  {fault}")
    return print_figures(f"{asked.kills} kills of the whole program in {time.monotonic() - begun:.0f} s", [
        Figure("faults found by comparison and audit after each", len(seen.faults), most=0),
        Figure("kills that met the program at work", seen.killed_at.total(), least=1),
        Figure("verdicts shown, all stored", len(seen.shown), least=1),
        Figure("verdicts stored, NO RESULT left out", stored["PASS"] + stored["FAIL"]),
        Figure("interrupted tests, all NO RESULT", stored["NO RESULT"]),
    ])


if __name__ == "__main__":
    sys.exit(main())
