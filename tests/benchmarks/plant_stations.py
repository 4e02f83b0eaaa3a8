"""Stations with long logs of small records, made in bulk, and a client that loses requests, answers and its process."""

import random
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "plant"))

from sending_station import record_of

from station.plant.plant_client import PlantClient, SilenceError
from station.record import schema
from station.record.log_key import LogKey
from station.record.record import canonical, sha256_of
from station.record.store import Store

PORTION = 5000      # records of one transaction
STARTED = "2026-11-{:02d}T{:02d}:00:00.000Z"


class CrashError(Exception):
    """The station's process is gone: whoever works for it begins anew, and knows only what is on its disk."""


class LossyClient(PlantClient):
    """Loses a share of all requests on their way, of all answers on theirs, and crashes as often after a good one."""

    share = 0.05
    drawn = random.Random()
    lost = crashed = 0

    def _exchange(self, *words):
        chance = self.drawn.random()
        if chance < self.share:
            self.lose("request")
        told = super()._exchange(*words)
        if chance < 2 * self.share:
            self.lose("answer")
        if chance < 3 * self.share:
            type(self).crashed += 1
            raise CrashError
        return told

    def lose(self, what):
        """Say that nothing is known of an exchange."""
        type(self).lost += 1
        raise SilenceError(f"the {what} was lost", where="benchmark", expected="an answer", got="none", remedy="Again.")


def make_station(folder: Path, origin: str, records: int) -> LogKey:
    """Make a store of so many records, each with its entry in the log and a signed head, and return its key.

    The disk is not waited for between them, which is all that differs from records that are stored one by one.
    """
    key = LogKey.make(folder.with_name(f"{folder.name}-keys"), origin)
    with Store(folder, log_key=key) as store:
        add_records(store, records)
    return key


def add_records(store: Store, records: int) -> None:
    """Add so many records of motors that were not tested before, a portion in one transaction."""
    connection, first = store.log.connection, len(store.log)
    for begin in range(first, first + records, PORTION):
        connection.execute("BEGIN IMMEDIATE")
        for number in range(begin, min(begin + PORTION, first + records)):
            _add(store, connection, number)
        connection.execute("COMMIT")


def _add(store, connection, number):
    serial, started = f"{store.log.origin}-{number:07d}", STARTED.format(1 + number // 1000 % 28, number // 42 % 24)
    place = store.log.next_place()
    said = record_of(serial, "FAIL" if number % 25 == 0 else "PASS", started)
    body = canonical({**said, "run": 1, "captures": [], "log": place.as_record()})
    run_id = connection.execute(schema.BEGIN_RUN, (serial, 1, started, "{}")).lastrowid
    connection.execute(schema.ADD_RECORD, (run_id, serial, 1, said["motor_type"]["name"], said["verdict"], started,
                                           sha256_of(body), body))
    store.log.append(place, "record", run_id, body)
