"""Power cuts at random moments of a writer, rebuilt from its system calls; with precautions taken away they must show.

The store as it is must lose nothing; without one of its precautions something must be lost or broken, else the
model would prove nothing.
"""

import argparse
import random
import shutil
import sys
import tempfile
from collections import Counter, defaultdict
from pathlib import Path

from figures import Figure, print_figures
from power_cuts import cuts, rebuild
from store_writer import WAYS
from survivors import Told, examine, scratch
from system_calls import Said, events_under, trace

STATES = 760        # of each way
WRITER = Path(__file__).with_name("store_writer.py")
STATE_WORDS = ("whole", "lost", "corrupt")


def traced_writer(home, ways=WAYS):
    """Let the writer write each way; return what it did to the medium, way by way."""
    root, lines = home / "root", home / "trace"
    root.mkdir()
    trace([sys.executable, "-W", "error", WRITER, "trace", root, *ways], lines)
    events = list(enumerate(events_under(root, lines)))
    return root, {way: [(number, event) for number, event in events if _belongs(event, way, root)] for way in ways}


def folder_of(way):
    """Return the name of the folder of a way."""
    return way.replace(" ", "-")


def _belongs(event, way, root):
    if isinstance(event, Said):
        return event.text.startswith(f"{way}: ")
    return f"{event.path}/".startswith(f"{root}/{folder_of(way)}/") or event.path == str(root)


def told_by(way, events):
    """Return what the writer had acknowledged by these events."""
    told = Told()
    for _, event in events:
        if isinstance(event, Said):
            for line in event.text.splitlines():
                told.hear(line.removeprefix(f"{way}: "))
    return told


def after_cuts(way, events, root, states, seed):
    """Yield what is left of the store in each of so many states."""
    drawn = random.Random(seed)
    for at, state in cuts(events, root, drawn, states):
        with scratch() as folder:
            into = Path(folder)
            rebuild(state, root, into)
            yield examine(into / folder_of(way), told_by(way, events[:at]))


def survey(states, seed=1, ways=WAYS):
    """Return by way how many states were whole, lost and corrupt, and every fault."""
    counted, faults = {way: Counter() for way in ways}, defaultdict(set)
    with tempfile.TemporaryDirectory() as home:
        root, parts = traced_writer(Path(home), ways)
        for way, events in parts.items():
            for remains in after_cuts(way, events, root, states, seed):
                counted[way][remains.state] += 1
                faults[way].update(remains.faults)
    return counted, faults


def main(arguments=None):
    """Print the table; 0 only if the store lost nothing and every other way did."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--states", type=int, default=STATES)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args(arguments)
    if shutil.which("strace") is None:
        parser.error("strace is not installed: apt-get install strace")
    counted, faults = survey(asked.states, asked.seed)
    print(f"{'way':<20}" + "".join(f"{word:>10}" for word in STATE_WORDS))
    for way, row in counted.items():
        print(f"{way:<20}" + "".join(f"{row[word]:>10}" for word in STATE_WORDS))
    for kind, fault in sorted(faults["FULL"]):
        print(f"  FULL, {kind}: {fault}")
    bad = {way: row["lost"] + row["corrupt"] for way, row in counted.items()}
    return print_figures(f"{asked.states} states after power cuts, each way", [
        Figure("the store as it is: lost or corrupt", bad["FULL"], most=0),
        *(Figure(f"{way}: lost or corrupt", bad[way], least=1) for way in counted if way != "FULL"),
    ])


if __name__ == "__main__":
    sys.exit(main())
