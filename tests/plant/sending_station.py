"""A station with a store and a log of its own, and what it would send of it: real bodies, heads and proofs."""

import json
import shutil

from station.plant.batch import Batch, parse_batch
from station.plant.stations import Known
from station.record.log_key import LogKey
from station.record.record import interrupted_record
from station.record.store import Store
from station.record.witness import Request

STARTED, ENDED = "2026-11-25T10:00:00.000Z", "2026-11-25T10:00:30.000Z"
INSTRUMENTS = [{"role": "digitizer", "serial": "DG-7", "certificate": "C-100"},
               {"role": "ohmmeter", "serial": "OM-3", "certificate": "C-101"}]


def record_of(serial, verdict="PASS", started=STARTED, *, motor_type="CP-40", purpose="", instruments=(),
              revision="C"):
    limits = {"name": f"{motor_type}.toml", "revision": revision, "sha256": f"{ord(revision):064x}", "note": "",
              "released_by": None, "released_on": None}
    heading = {"motor_type": {"name": motor_type}, "limit_file": limits,
               "bench": {"file": "bench.toml", "sha256": "", "simulated": True, "pace": 1.0,
                         "instruments": list(instruments or INSTRUMENTS)},
               "software": {"station": "0.1.0", "station_sha256": "ab" * 32},
               **({"purpose": purpose} if purpose else {})}
    return {**interrupted_record(serial, started, ENDED, heading), "verdict": verdict, "reason": "because"}


class SendingStation:
    """Tests motors without a bench; what it sends is made from its store as it is now."""

    def __init__(self, folder, origin="line-1", key=None):
        self.folder = folder
        self.key = key or LogKey.make(folder.with_name(f"{folder.name}-keys"), origin)
        self.open()

    def open(self):
        self.store = Store(self.folder, log_key=self.key)

    def close(self):
        self.store.close()

    @property
    def log(self):
        return self.store.log

    @property
    def size(self):
        return len(self.store.log)

    def test(self, serial, verdict="PASS", started=STARTED, **more):
        purpose = more.get("purpose", "")
        run_id = self.store.begin(serial, started=started, heading={"purpose": purpose} if purpose else {})
        return self.store.finish(run_id, record_of(serial, verdict, started, **more), [])

    def fill(self, count, begins="CP40-"):
        for number in range(count):
            self.test(f"{begins}{self.size:05d}-{number}")
        return self

    def void(self, record):
        return self.store.correct(record, "void", person="R. Fink", reason="wrong motor", at=ENDED)

    def content(self, first=0, end=None, *, old=None, seen=0):
        """Return what is sent of the entries from `first` up to, and without, `end`."""
        end = self.size if end is None else end
        sent = [{"kind": e.kind, "subject": e.subject, "body": e.body.decode(), "checkpoint": e.checkpoint}
                for e in self.log.entries(first, end)]
        old = first if old is None else old
        request = Request(old, self.log.consistency(old, end), self.log.checkpoint(end))
        told = {"format": 1, "first": first, "seen": seen, "entries": sent, "request": str(request)}
        return json.dumps(told).encode()

    def batch(self, first=0, end=None, *, number=1, **more) -> Batch:
        return parse_batch(self.content(first, end, **more), Known(number, self.key.verifier))

    def image(self, folder):
        """Keep an image of the disk as it is now."""
        self.close()
        shutil.copytree(self.folder, folder)
        self.open()
        return folder

    def set_back(self, image):
        """Put the disk back to an image."""
        self.close()
        shutil.rmtree(self.folder)
        shutil.copytree(image, self.folder)
        self.open()
