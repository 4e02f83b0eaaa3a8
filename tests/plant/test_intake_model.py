"""The intake against a model in ten lines, over whatever several logs under one key may send in whatever order."""

import json
from datetime import UTC, datetime

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import make_url, select

from station.plant import schema
from station.plant.alarms import open_alarms
from station.plant.batch import parse_batch
from station.plant.database import open_database
from station.plant.intake import Intake, head_of
from station.plant.refused import ForkError, GapError
from station.plant.stations import add_station
from station.record import merkle
from station.record.checkpoint import Checkpoint
from station.record.cosignature import WitnessKey
from station.record.log_key import LogKey
from station.record.merkle import consistency_proof, leaf_hash, nodes_of
from station.record.witness import Request

AT = datetime(2026, 11, 26, 3, 0, tzinfo=UTC)
# A log is a text of which each letter is an entry; several that begin alike are one log and its forks.
LOG = st.text("ab", min_size=8, max_size=8)
LOGS = st.tuples(LOG, LOG, st.integers(0, 7)).map(lambda drawn: (drawn[0], drawn[0][:drawn[2]] + drawn[1]))
# which log, from how far before the end of the copy on, how many, the size that is said to be known, one altered
SENDING = st.tuples(st.integers(0, 1), st.integers(-1, 3), st.integers(0, 4), st.integers(0, 9),
                    st.sampled_from([False, False, True]))


def body(letter, seq):
    return f'{{"said":"{letter}{seq}"}}'


def content(log, first, end, seen, key, altered):
    """Return what a station with this log sends; the last body is another than the one that was logged if `altered`."""
    leaves = [leaf_hash(body(letter, seq).encode()) for seq, letter in enumerate(log)]

    def head(size):
        return key.sign(Checkpoint(key.name, size, merkle.root_of(leaves[:size])).text())

    sent = [{"kind": "trail", "subject": seq + 1, "body": body(log[seq], seq), "checkpoint": head(seq + 1)}
            for seq in range(first, end)]
    if altered and sent:
        sent[-1]["body"] = body("c", end - 1)
    request = Request(first, consistency_proof(first, end, nodes_of(leaves[:end])), head(end))
    return json.dumps({"format": 1, "first": first, "seen": seen, "entries": sent, "request": str(request)}).encode()


def expected(held, log, first, end, seen, altered):
    """Return what the copy is afterwards, and of what kind the refusal is, with the entry that differs."""
    sent = log[:end - 1] + "c" if altered and end > first else log[:end]
    if first > len(held):
        return held, ("gap", None)
    for seq in range(first, min(end, len(held))):
        if sent[seq] != held[seq]:
            return held, ("fork", seq)
    if end <= len(held):
        if log[:end] != held[:end]:
            return held, ("fork", None)
        return held, ("shorter", None) if end < min(seen, len(held)) else None
    if log[:len(held)] != held:
        return held, ("fork", None)
    return (held, ("altered", end - 1)) if altered else (sent, None)


@pytest.fixture(scope="module")
def intake(plant_address, tmp_path_factory):
    database = open_database(make_url(plant_address("sqlite")))
    yield Intake(database, WitnessKey.make(tmp_path_factory.mktemp("keys"), "plant"))
    database.close()


@settings(max_examples=50, suppress_health_check=[HealthCheck.too_slow])
@given(logs=LOGS, sendings=st.lists(SENDING, min_size=2, max_size=8))
def test_whatever_is_sent_the_copy_is_the_model_s(intake, new_origin, tmp_path_factory, logs, sendings):
    key = LogKey.make(tmp_path_factory.mktemp("keys"), new_origin())
    known = add_station(intake.database, str(key.verifier), person="U. Rabe", at=AT)
    held, alarms = "", set()
    for which, back, count, seen, altered in sendings:
        log = logs[which]
        first = min(max(len(held) - back, 0), len(log))
        end = min(first + count, len(log))
        if end == 0:
            continue        # a head of nothing is never signed
        held, refusal = expected(held, log, first, end, seen, altered)
        batch = parse_batch(content(log, first, end, seen, key, altered), known)
        if refusal is None:
            assert intake.take(known, batch, AT).size == len(held)
        else:
            kind, seq = refusal
            with pytest.raises(GapError if kind == "gap" else ForkError) as told:
                intake.take(known, batch, AT)
            assert told.value.as_json()["size"] == len(held)
            if kind != "gap":
                assert told.value.seq == seq
                alarms.add(refusal)
        with intake.database.reading() as connection:
            bodies = connection.execute(select(schema.entries.c.body).where(
                schema.entries.c.station == known.number).order_by(schema.entries.c.seq)).scalars().all()
            assert bodies == [body(letter, seq).encode() for seq, letter in enumerate(held)]
            assert head_of(connection, known.number).root == merkle.root_of([leaf_hash(each) for each in bodies])
            assert {(alarm.what, alarm.seq) for alarm in open_alarms(connection, known.number)} == alarms
