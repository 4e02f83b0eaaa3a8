"""Makes one generation of golden stores: one of each kind of entry and file that today's station writes.

`.venv/bin/python tests/golden/make_golden.py NAME` writes NAME.tar.xz and NAME.json beside this file. A generation that
exists is never made again: it is what stations of its time have written, and must stay readable for ever. Make a new
one when a station writes something new, with a name that says what.

`without-log` was made by a station of 25 November 2026 from before there was a log, with as much of this script as it
could carry out.
"""

import argparse
import hashlib
import json
import os
import signal
import sys
import tarfile
import tempfile
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from station.cli.setup import DigitizerKind, write_folder
from station.cli.workplace import open_workplace
from station.clock import stamp
from station.record.record import canonical
from station.record.retention import Rule
from station.record.store import Store
from station.sequence.progress import unwatched
from station.sequence.reference_check import PURPOSE, check_motors
from station.sequence.reference_file import load_references
from station.sequence.runs_gate import FurtherRun
from station.sequence.station_file import load_station

HERE = Path(__file__).parent
# Short captures at one speed: the files shall be small.
EDITS = (("speeds_rpm = [1000.0, 2000.0]", "speeds_rpm = [2000.0]"), ("revolutions = 12.0", "revolutions = 4.0"),
         ("sample_interval_s = 4.0e-6", "sample_interval_s = 4.0e-5"))
UNSURE = ("hall_", "commutated_")       # what so few samples do not give as well as the reference files expect


def prepare(folder, **options):
    """Write a starter folder with the short sequence, and reference values as far as that gives them well."""
    write_folder(folder, pace=20.0, free_ports=True, **options)
    sequence = folder / "sequences" / "standard.toml"
    text = sequence.read_text()
    for old, new in EDITS:
        if old not in text:
            raise ValueError(f"the sequence has no {old!r}")
        text = text.replace(old, new)
    sequence.write_text(text)
    for path in (folder / "references").glob("*.toml"):
        path.write_text("".join(line for line in path.read_text().splitlines(keepends=True)
                                if '1000"' not in line and not line.lstrip('"').startswith(UNSURE)))
    return load_station(folder / "station.toml")


def one_of_each(folder):
    """Fill a store with every verdict, an old run, an interrupted and a further one, and what is said of them."""
    station = prepare(folder)
    kill_in_mid_test(station)
    with open_workplace(station, "operator") as place:
        clock = place.clock
        earlier = replace(place, clock=replace(clock, utc=lambda: clock.utc() - timedelta(days=2)))
        earlier.test("CP40-0001", unwatched)
        failed = place.test("CP60-0003", unwatched).record
        place.test("CP60-0003", unwatched)
        place.test("CP60-0003", unwatched, further=FurtherRun("K. Muster", "new insulation tester"))
        rig = place.attendant.rig
        place.test("CP40-0002", lambda notice: rig.open_guard() if notice.kind == "speed" else None)
        motors = load_references(station.references, "CP-40")
        entry, trouble = check_motors(
            motors, lambda motor: place.run(motor.serial, unwatched, purpose=PURPOSE), place.sequence.labels())
        if trouble is not None:
            raise trouble
        place.store.add_reference_check(entry)
        now = clock.utc()
        for what in ("note", "void"):
            place.store.correct(failed, what, person="K. Muster", reason="test lead was loose", at=stamp(now))
        for removal in place.store.removals_due([Rule("PASS", 1)], now):
            place.store.remove(removal, person="K. Muster", at=stamp(now))


def stitched(folder):
    """Fill a store with one test whose signals were taken in two captures."""
    with open_workplace(prepare(folder, digitizers=DigitizerKind.FOUR_CHANNELS), "operator") as place:
        place.test("CP40-0001", unwatched)


def kill_in_mid_test(station):
    """Have a process killed while the shaft turns."""
    child = os.fork()
    if child == 0:
        with open_workplace(station, "operator") as place:
            place.test("CP40-0003", lambda notice: os.kill(os.getpid(), signal.SIGKILL) if notice.kind == "speed"
                       else None)
        os._exit(1)
    os.waitpid(child, 0)


def contents_of(folder):
    """Return what a store holds, to be compared with what later stations read from it."""
    with Store(folder, read_only=True) as store:
        return {
            "records": [[record["serial"], record["run"], record["verdict"], record["reason"],
                         hashlib.sha256(canonical(record)).hexdigest()] for record in store.find()],
            "reference checks": [[check["check"], check["result"], hashlib.sha256(canonical(check)).hexdigest()]
                                 for check in store.reference_checks()],
            "statements": [[kind, said["statement"], hashlib.sha256(canonical(said)).hexdigest()]
                           for kind in ("correction", "retention") for said in store.statements(kind)],
            "files": {path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
                      for path in sorted(folder.rglob("*")) if path.parent != folder and path.is_file()},
        }


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("name", help="of the generation, a word")
    packed = HERE / f"{parser.parse_args().name}.tar.xz"
    if packed.exists():
        raise SystemExit(f"{packed} exists, and golden files are never made again")
    with tempfile.TemporaryDirectory() as scratch, tarfile.open(packed, "w:xz") as tar:
        told = {}
        for make in (one_of_each, stitched):
            folder = Path(scratch) / make.__name__
            make(folder)
            told[make.__name__] = contents_of(folder / "store")
            for left in ("station.lock", "records.sqlite-shm", "records.sqlite-wal"):
                (folder / "store" / left).unlink(missing_ok=True)   # the WAL of a closed store is empty
            tar.add(folder / "store", f"{make.__name__}/store")
            tar.add(folder / "keys" / "log.pub", f"{make.__name__}/keys/log.pub")
    packed.with_suffix("").with_suffix(".json").write_text(json.dumps(told, indent=1, ensure_ascii=False) + "\n")


if __name__ == "__main__":
    sys.exit(main())
