"""What the plant takes in: the same bytes in the same order, once; and what it refuses, with an alarm."""

import json
import random
from datetime import UTC, datetime

import pytest
from sending_station import SendingStation, record_of
from sqlalchemy import select

from station.plant import schema
from station.plant.alarms import open_alarms, settle
from station.plant.intake import Intake, head_of
from station.plant.refused import ForkError, GapError
from station.plant.stations import add_station
from station.record.cosignature import WitnessKey, cosigned_at
from station.record.record import canonical
from station.record.signed_note import parse_note, verify_note

AT = datetime(2026, 11, 26, 3, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def witness(tmp_path_factory):
    return WitnessKey.make(tmp_path_factory.mktemp("keys"), "varnholt-works")


@pytest.fixture
def database(shared_database):
    return shared_database


@pytest.fixture
def sender(tmp_path, new_origin):
    station = SendingStation(tmp_path / "store", new_origin())
    yield station
    station.close()


@pytest.fixture
def intake(database, witness):
    return Intake(database, witness)


@pytest.fixture
def known(database, sender):
    return add_station(database, str(sender.key.verifier), person="U. Rabe", at=AT)


def held(database, known):
    """Everything the plant has of a station's log: what must stay as it is when something is refused."""
    with database.reading() as connection:
        tables = (schema.entries, schema.nodes, schema.heads, schema.records, schema.day_sums)
        return [sorted(map(tuple, connection.execute(select(table).where(table.c.station == known.number))))
                for table in tables]


def alarms(database, known):
    with database.reading() as connection:
        return [(alarm.what, alarm.seq) for alarm in open_alarms(connection, known.number)]


def test_what_is_taken_is_what_the_station_has_logged(database, intake, known, sender):
    sender.fill(11)
    sender.void(sender.test("CP40-9"))
    head = intake.take(known, sender.batch(), AT)
    assert (head.size, head.root) == (13, sender.log.head().root)
    with database.reading() as connection:
        own = (select(table).where(table.c.station == known.number) for table in (schema.entries, schema.nodes))
        rows, nodes = ([row._asdict() for row in connection.execute(query)] for query in own)
    rows.sort(key=lambda row: row["seq"])
    assert [tuple(row[name] for name in ("seq", "kind", "subject", "body", "leaf", "checkpoint")) for row in rows] == [
        (e.seq, e.kind, e.subject, e.body, e.leaf, e.checkpoint) for e in sender.log.entries()]
    assert {(node["level"], node["position"]): node["hash"] for node in nodes} == {
        (level, position): sender.log.node(level, position) for level in (1, 2, 3) for position in range(13 >> level)}


def test_the_head_is_cosigned_by_the_plant(intake, known, sender, witness):
    sender.fill(3)
    head = intake.take(known, sender.batch(), AT)
    note = sender.log.checkpoint(3) + head.cosignature
    (signature,) = verify_note(parse_note(note, "plant"), [witness.verifier], "plant")
    assert cosigned_at(signature) == AT


def test_it_grows_batch_by_batch_to_the_same(database, intake, known, sender):
    sender.fill(40)
    chosen = random.Random(8)
    size = 0
    while size < 40:
        end = min(40, size + chosen.randint(1, 7))
        first = max(0, size - chosen.randint(0, 4))     # some of it a second time
        head = intake.take(known, sender.batch(first, end), AT)
        size = end
        assert (head.size, head.root) == (size, sender.log.head(size).root)
    entries, _nodes, _heads, records, _sums = held(database, known)
    assert (len(entries), len(records)) == (40, 40)


def test_sent_again_it_is_answered_the_same_and_changes_nothing(database, intake, known, sender):
    sender.fill(5)
    first = intake.take(known, sender.batch(), AT)
    before = held(database, known)
    assert intake.take(known, sender.batch(), AT.replace(year=1970)) == first
    assert intake.take(known, sender.batch(2, 4), AT) == first      # one that was under way for long
    assert held(database, known) == before
    assert alarms(database, known) == []


def test_a_gap_is_told_with_the_size_to_go_on_from(database, intake, known, sender):
    sender.fill(6)
    intake.take(known, sender.batch(0, 2), AT)
    before = held(database, known)
    with pytest.raises(GapError) as refused:
        intake.take(known, sender.batch(4), AT)
    assert refused.value.as_json()["size"] == 2
    assert held(database, known) == before
    assert intake.take(known, sender.batch(2), AT).size == 6
    assert alarms(database, known) == []


def test_a_station_set_back_shows_as_shorter_and_then_as_a_fork(database, intake, known, sender, tmp_path):
    image = sender.fill(4).image(tmp_path / "image")
    sender.fill(3)
    intake.take(known, sender.batch(), AT)
    before = held(database, known)
    sender.set_back(image)
    with pytest.raises(ForkError) as shorter:
        intake.take(known, sender.batch(3, seen=7), AT)
    assert (shorter.value.size, shorter.value.seq) == (7, None)
    sender.fill(2, "VB24-")
    with pytest.raises(ForkError) as fork:
        intake.take(known, sender.batch(4), AT)
    assert (fork.value.size, fork.value.seq) == (7, 4)
    sender.fill(6)      # longer than the copy by now
    with pytest.raises(ForkError):
        intake.take(known, sender.batch(4), AT)
    with pytest.raises(ForkError):
        intake.take(known, sender.batch(7), AT)         # without what differs
    assert alarms(database, known) == [("shorter", None), ("fork", 4), ("fork", None)]
    assert held(database, known) == before


def test_an_alarm_holds_both_signed_heads_until_a_person_settles_it(database, intake, known, sender, tmp_path):
    image = sender.fill(2).image(tmp_path / "image")
    sender.fill(1)
    intake.take(known, sender.batch(), AT)
    newest = sender.log.checkpoint(3)
    sender.set_back(image)
    sender.fill(1, "VB24-")
    for _ in range(3):      # it tries again and again
        with pytest.raises(ForkError):
            intake.take(known, sender.batch(2), AT)
    with database.reading() as connection:
        (alarm,) = open_alarms(connection, known.number)
    assert (alarm.held, alarm.told, alarm.origin) == (newest, sender.log.checkpoint(3), known.origin)
    settle(database, alarm.number, person="R. Fink", reason="restored from a backup, log closed", at=AT)
    assert alarms(database, known) == []


def test_two_stations_with_one_key_are_told(database, intake, known, sender, tmp_path):
    twin = SendingStation(tmp_path / "twin", key=sender.key)
    sender.fill(3)
    twin.fill(3, "VB24-")
    intake.take(known, sender.batch(), AT)
    for first in (0, 3):        # with entries, and with the head alone
        with pytest.raises(ForkError):
            intake.take(known, twin.batch(first), AT)
    with pytest.raises(ForkError):
        intake.take(known, twin.batch(2, 2), AT)
    twin.close()
    assert alarms(database, known) == [("fork", 0), ("fork", None)]
    sender.fill(1)      # the other goes on being taken in
    assert intake.take(known, sender.batch(3), AT).size == 4


def test_a_body_that_was_altered_after_it_was_logged_is_told(database, intake, known, sender):
    sender.fill(4)
    intake.take(known, sender.batch(0, 1), AT)
    before = held(database, known)
    sender.store._connection.execute("DROP TRIGGER records_update")
    changed = canonical({**json.loads(sender.log.evidence(2).record_bytes), "verdict": "FAIL"})
    sender.store._connection.execute("UPDATE records SET body = ? WHERE run_id = 3", (changed,))
    with pytest.raises(ForkError) as refused:
        intake.take(known, sender.batch(1), AT)
    assert (refused.value.seq, refused.value.size) == (2, 1)
    with pytest.raises(ForkError) as refused:
        intake.take(known, sender.batch(1, old=3), AT)      # with a proof from a head that the plant has not reached
    assert (refused.value.seq, refused.value.size) == (None, 1)
    assert alarms(database, known) == [("altered", 2), ("fork", None)]
    assert held(database, known) == before


def test_a_record_that_cannot_be_searched_for_is_kept_all_the_same(database, intake, known, sender):
    run_id = sender.store.begin("CP40-1", started="2026-11-25T10:00:00.000Z")
    record = {**record_of("CP40-1"), "limit_file": "lost"}
    sender.store.finish(run_id, record, [])
    assert intake.take(known, sender.batch(), AT).size == 1
    assert alarms(database, known) == [("unreadable", 0)]


def test_a_station_is_told_from_another(database, intake, known, sender, new_origin, tmp_path):
    other = SendingStation(tmp_path / "other", new_origin()).fill(2)
    second = add_station(database, str(other.key.verifier), person="U. Rabe", at=AT)
    sender.fill(3)
    intake.take(known, sender.batch(), AT)
    intake.take(second, other.batch(number=second.number), AT)
    with database.reading() as connection:
        assert [head_of(connection, one.number).size for one in (known, second)] == [3, 2]
    other.close()
