"""Power cuts at any moment, rebuilt from the writer's system calls: nothing acknowledged is lost.

With one precaution taken away the same states must lose something, else they would prove nothing. `power_loss.py`
looks at many more.
"""

import random
import sys
from collections import Counter
from itertools import pairwise
from pathlib import Path

import pytest
from power_cuts import SECTOR, Disk, cuts, rebuild
from power_loss import after_cuts, traced_writer
from store_writer import WAYS
from system_calls import Create, Cut, MakeFolder, Remove, Rename, Said, Sync, Write, events_under, trace

STATES = 60     # of each way


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    return traced_writer(tmp_path_factory.mktemp("traced"))


@pytest.fixture
def states(written):
    """Return a function that counts the states of a way and gathers their faults."""
    root, parts = written

    def of(way):
        found = list(after_cuts(way, parts[way], root, STATES, seed=3))
        return Counter(remains.state for remains in found), {fault for each in found for fault in each.faults}
    return of


def test_the_store_loses_nothing_that_was_acknowledged(states):
    counted, faults = states("FULL")
    assert faults == set()
    assert counted == {"whole": STATES}


@pytest.mark.parametrize(("way", "state"), [
    ("NORMAL", "lost"), ("OFF", "lost"), ("files not synced", "corrupt"), ("folders not synced", "lost")])
def test_without_a_precaution_something_is_lost_or_broken(states, way, state):
    assert way in WAYS
    assert states(way)[0][state] > 0


PROGRAM = """
import os, sys
folder = sys.argv[1]
os.mkdir(folder + "/a")
with open(folder + "/a/x.tmp", "wb") as file:
    file.write(b"hello"); file.flush(); os.fsync(file.fileno())
os.replace(folder + "/a/x.tmp", folder + "/a/x")
descriptor = os.open(folder + "/a", os.O_RDONLY); os.fsync(descriptor); os.close(descriptor)
os.write(1, b"done\\n")
with open(folder + "/a/x", "ab") as file:
    file.write(b"!")
    file.flush(); os.ftruncate(file.fileno(), 4); os.pwrite(file.fileno(), b"EL", 1)
open(folder + "/a/x", "rb").read()
os.unlink(folder + "/a/x")
"""


def test_what_a_program_does_is_read_from_its_trace(tmp_path):
    root, lines = tmp_path / "root", tmp_path / "trace"
    root.mkdir()
    assert trace([sys.executable, "-c", PROGRAM, root], lines) == "done\n"
    a = f"{root}/a"
    assert events_under(root, lines) == [
        MakeFolder(a), Create(f"{a}/x.tmp"), Write(f"{a}/x.tmp", 0, b"hello"), Sync(f"{a}/x.tmp", 3),
        Rename(f"{a}/x.tmp", f"{a}/x"), Sync(a, 5), Said("done\n"), Write(f"{a}/x", 5, b"!"), Cut(f"{a}/x", 4),
        Write(f"{a}/x", 1, b"EL"), Remove(f"{a}/x")]


def test_a_call_that_the_model_does_not_know_is_told(tmp_path):
    root, lines = tmp_path / "root", tmp_path / "trace"
    root.mkdir()
    (root / "x").write_text("one")
    trace([sys.executable, "-c", "import os, sys; os.link(sys.argv[1] + '/x', sys.argv[1] + '/y')", root], lines)
    with pytest.raises(RuntimeError, match="link"):
        events_under(root, lines)


def test_a_program_that_fails_under_the_trace_is_told(tmp_path):
    with pytest.raises(RuntimeError, match="ended with 3"):
        trace([sys.executable, "-c", "raise SystemExit(3)"], tmp_path / "trace")


def test_a_sync_that_other_threads_wrote_into_covers_what_came_before_it(tmp_path):
    lines = tmp_path / "trace"
    name = "".join(f"\\x{byte:02x}" for byte in b"/r/x")
    lines.write_text(f'1 openat(AT_FDCWD<\\x2f>, "{name}", O_RDWR|O_CREAT, 0644) = 3<{name}>\n'
                     f"1 fsync(3<{name}> <unfinished ...>\n"
                     f'2 pwrite64(3<{name}>, "\\x41", 1, 0) = 1\n'
                     "1 <... fsync resumed>) = 0\n")
    assert events_under(Path("/r"), lines) == [Create("/r/x"), Write("/r/x", 0, b"A"), Sync("/r/x", 1)]


def after(events, share, seed=1):
    disk = Disk("/r")
    for number, event in enumerate(events):
        disk.apply(number, event)
    return disk.after_cut(random.Random(seed), share)


MADE = [Create("/r/x"), Write("/r/x", 0, b"one")]


@pytest.mark.parametrize(("events", "least"), [
    (MADE, {}),
    ([*MADE, Sync("/r/x", 2)], {}),                                             # its name is not durable
    ([*MADE, Sync("/r", 2)], {"/r/x": b""}),                                    # its bytes are not
    ([*MADE, Sync("/r/x", 2), Sync("/r", 3)], {"/r/x": b"one"}),
    ([*MADE, Sync("/r/x", 1), Sync("/r", 3)], {"/r/x": b""}),                   # the write came during the sync
    ([*MADE, Sync("/r/x", 2), Sync("/r", 3), Cut("/r/x", 1)], {"/r/x": b"one"}),
    ([*MADE, Sync("/r/x", 2), Sync("/r", 3), Rename("/r/x", "/r/y")], {"/r/x": b"one"}),
    ([*MADE, Sync("/r/x", 2), Sync("/r", 3), Rename("/r/x", "/r/y"), Sync("/r", 5)], {"/r/y": b"one"}),
    ([*MADE, Sync("/r/x", 2), Sync("/r", 3), Remove("/r/x")], {"/r/x": b"one"}),
    ([MakeFolder("/r/a"), Create("/r/a/x"), Sync("/r/a", 2)], {}),              # the folder's own name is not
    ([MakeFolder("/r/a"), Create("/r/a/x"), Sync("/r/a", 2), Sync("/r", 3)], {"/r/a": None, "/r/a/x": b""}),
])
def test_only_what_was_synced_is_certain(events, least):
    assert after(events, share=0.0) == least


def test_all_that_was_done_may_have_arrived():
    events = [MakeFolder("/r/a"), Create("/r/a/x"), Write("/r/a/x", 3, b"one"), Cut("/r/a/x", 5),
              Rename("/r/a/x", "/r/a/y")]
    assert after(events, share=1.0, seed=2) == {"/r/a": None, "/r/a/y": b"\0\0\0on"}


def test_a_torn_write_arrives_by_sectors():
    size = 4 * SECTOR
    events = [Create("/r/x"), Sync("/r", 1), Write("/r/x", 100, b"\1" * size)]
    seen = {after(events, 1.0, seed)["/r/x"] for seed in range(60)}
    assert bytes(100) + b"\1" * size in seen
    assert len(seen) > 5
    for content in seen:
        bounds = [0, 100, *range(SECTOR, size + 100, SECTOR), size + 100]
        for start, end in pairwise(bounds):
            assert len(set(content[start:end])) <= 1    # a sector arrived whole or not at all


def test_a_state_is_rebuilt_as_files(tmp_path):
    events = list(enumerate([MakeFolder("/r/a"), Create("/r/a/x"), Write("/r/a/x", 0, b"one")]))
    (at, state), = cuts(events, Path("/r"), random.Random(1), 1, first=3)
    rebuild({**state, "/r/a": None, "/r/a/x": b"two"}, Path("/r"), tmp_path)
    assert at == 3
    assert (tmp_path / "a" / "x").read_bytes() == b"two"
