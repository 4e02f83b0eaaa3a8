"""kill -9 at random moments of a writer: what was acknowledged is there, what was not is whole or absent."""

import argparse
import json
import random
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from figures import Figure, print_figures
from survivors import Remains, Told, examine, scratch

KILLS = 1000
KILLS_OF_A_STORE = 100      # then another one is begun, as looking through a long one takes longer than killing
FIRST = 1.0                 # s; leaves time for many runs
SHORTEST = 0.0005           # s from the start of the writer, which then has not even opened the store
RUNS = 6                    # how many runs the longest life has time for
WRITER = Path(__file__).with_name("store_writer.py")


@contextmanager
def writer_of(folder: Path) -> Iterator[Callable[[float], list[str]]]:
    """Yield a function that starts the writer, kills it after so many seconds and returns what it said."""
    words = [sys.executable, "-W", "error", str(WRITER), "kill", str(folder)]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as writer:
        def killed_after(seconds: float) -> list[str]:
            writer.stdin.write(f"{seconds}\n")
            writer.stdin.flush()
            return json.loads(writer.stdout.readline())
        yield killed_after
        writer.stdin.close()


def killed(folder: Path, kills: int, drawn: random.Random, told: Told) -> Iterator[tuple[Remains, int]]:
    """Kill the writer again and again; yield what was left, and temporary files; `told` takes in what it says.

    The latter are counted before the store is opened, which sweeps them.
    """
    longest = 0.0
    with writer_of(folder) as killed_after:
        for _ in range(kills):
            for line in killed_after(drawn.uniform(SHORTEST, longest) if longest else FIRST):
                told.hear(line)
            longest = longest or RUNS * FIRST / max(RUNS, len(told.finished))
            left = sum(1 for _ in folder.rglob("*.tmp")) if folder.exists() else 0
            yield examine(folder, told), left


def main(arguments=None):
    """Print the table; 0 only if nothing was lost."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=KILLS)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args(arguments)
    begun, states, counted, faults = time.monotonic(), Counter(), Counter(), set()
    drawn = random.Random(asked.seed)
    for first in range(0, asked.kills, KILLS_OF_A_STORE):
        with scratch() as home:
            folder, told = Path(home) / "store", Told()
            for remains, left in killed(folder, min(KILLS_OF_A_STORE, asked.kills - first), drawn, told):
                states[remains.state] += 1
                counted["swept"] += left
                faults.update(remains.faults)
            last = examine(folder, told, newest=sys.maxsize)
            faults.update(last.faults)
            counted.update(begun=len(told.begun), finished=len(told.finished), checked=len(told.checked),
                           unheard=last.unheard)
    for kind, fault in sorted(faults):
        print(f"  {kind}: {fault}")
    return print_figures(f"{asked.kills} kills in {time.monotonic() - begun:.0f} s", [
        Figure("kills after which the store was whole", states["whole"], least=asked.kills),
        Figure("kills after which something acknowledged was lost", states["lost"], most=0),
        Figure("kills after which something was corrupt", states["corrupt"], most=0),
        Figure("faults found in the last look at everything", len(faults), most=0),
        Figure("runs begun and told", counted["begun"], least=1),
        Figure("records acknowledged, all there", counted["finished"], least=1),
        Figure("reference checks acknowledged, all there", counted["checked"], least=1),
        Figure("records that were durable before their writer could say so", counted["unheard"]),
        Figure("temporary files swept at the next start", counted["swept"]),
    ])


if __name__ == "__main__":
    sys.exit(main())
