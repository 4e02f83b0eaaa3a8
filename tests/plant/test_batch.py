"""What is a batch of entries and what is not: heads signed by its station, each after its own entry."""

import json

import pytest
from sending_station import SendingStation

from station.plant.batch import parse_batch
from station.plant.refused import MalformedError
from station.plant.stations import Known
from station.record.checkpoint import Checkpoint
from station.record.witness import Request


@pytest.fixture(scope="module")
def sender(tmp_path_factory):
    station = SendingStation(tmp_path_factory.mktemp("sender") / "store").fill(3)
    yield station
    station.close()


@pytest.fixture(scope="module")
def known(sender):
    return Known(1, sender.key.verifier)


def test_a_batch_is_read_as_it_was_sent(known, sender):
    batch = parse_batch(sender.content(1, seen=2), known)
    assert (batch.first, batch.seen, batch.told) == (1, 2, sender.log.head())
    assert [(each.seq, each.leaf, each.head.size) for each in batch.entries] == [
        (entry.seq, entry.leaf, entry.seq + 1) for entry in sender.log.entries(1)]


@pytest.mark.parametrize("spoil", [
    lambda told: told.update(first=1), lambda told: told.update(format=2), lambda told: told.update(entries=[]),
    lambda told: told["entries"].pop(), lambda told: told.update(request="old 0\n\nnothing"),
    lambda told: told["entries"][0].update(checkpoint=told["entries"][1]["checkpoint"]),
    lambda told: told["entries"][2].update(checkpoint=""), lambda told: told["entries"][0].update(more=1),
    lambda told: told["entries"][0].update(body="\ud800"), lambda told: told["entries"][0].update(kind="re\x00cord"),
    lambda told: told["entries"][1].update(checkpoint=told["entries"][1]["checkpoint"].replace("\n2\n", "\n3\n"))])
def test_what_is_no_batch_is_refused(known, sender, spoil):
    told = json.loads(sender.content())
    spoil(told)
    with pytest.raises(MalformedError) as refused:
        parse_batch(json.dumps(told).encode(), known)
    assert refused.value.remedy


def test_a_head_of_another_log_under_the_same_key_is_refused(known, sender):
    told = json.loads(sender.content())
    head = sender.log.head()
    signed = sender.key.sign(Checkpoint("line-2", head.size, head.root).text())
    told["entries"][-1]["checkpoint"] = signed
    told["request"] = str(Request(0, (), signed))
    with pytest.raises(MalformedError, match="another log"):
        parse_batch(json.dumps(told).encode(), known)


def test_heads_signed_by_others_are_refused(known, tmp_path):
    other = SendingStation(tmp_path / "other", origin="line-1").fill(2)
    with pytest.raises(MalformedError, match="not signed"):
        parse_batch(other.content(), known)
    other.close()
