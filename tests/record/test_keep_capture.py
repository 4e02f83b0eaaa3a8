"""Captures kept while a run is under way, and parts of its record written ahead: the same record as without either."""

import hashlib
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from stored_records import STARTED, capture, record_of

from station.errors import EvidenceError, StationError
from station.record.capture_file import codes_sha256, read_capture
from station.record.record import canonical, fragment
from station.record.store import Store

PLAIN = st.recursive(st.none() | st.booleans() | st.integers(1 - 2**53, 2**53 - 1) | st.text()
                     | st.floats(allow_nan=False, allow_infinity=False),
                     lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
                     max_leaves=12)
PARTS = st.lists(st.dictionaries(st.text(), PLAIN, max_size=4), max_size=4)


@pytest.fixture
def store(tmp_path):
    with Store(tmp_path / "store") as opened:
        yield opened


def test_a_kept_capture_is_durable_by_its_hash_before_there_is_a_record(store):
    run_id = store.begin("A", started=STARTED)
    kept = store.keep_capture(run_id, "A", 1, capture())
    content = (store.folder / kept.file).read_bytes()
    assert hashlib.sha256(content).hexdigest() == kept.sha256
    read = read_capture(store.folder / kept.file)
    assert np.array_equal(read.codes["v_bc"], capture().codes["v_bc"])
    assert kept.codes_sha256 == codes_sha256(read)
    assert store.show("A") == []
    assert [run.run_id for run in store.unfinished()] == [run_id]


def test_the_record_is_the_same_whether_captures_were_kept_before_or_not(tmp_path):
    both, records = [capture("forward 1500"), capture("reverse 1500")], []
    for ahead in (True, False):
        with Store(tmp_path / str(ahead)) as store:
            run_id = store.begin("A", started=STARTED)
            given_ = [store.keep_capture(run_id, "A", n, one) for n, one in enumerate(both, 1)] if ahead else both
            records.append(store.finish(run_id, record_of("A", captures=both), given_))
            assert [one.label for one in store.captures(records[-1])] == ["forward 1500", "reverse 1500"]
    assert records[0] == records[1]


def test_captures_kept_from_several_threads_at_once_are_all_there(store):
    run_id, labels = store.begin("A", started=STARTED), [f"forward {rpm}" for rpm in range(1000, 1008)]
    with ThreadPoolExecutor(4) as pool:
        kept = list(pool.map(lambda n: store.keep_capture(run_id, "A", n + 1, capture(labels[n])), range(len(labels))))
    record = store.finish(run_id, record_of("A", captures=[capture(label) for label in labels]), kept)
    assert [one.label for one in store.captures(record)] == labels
    assert len({one.file for one in kept}) == len(labels)


def test_labels_that_are_no_file_names_are_kept_under_one(store):
    run_id = store.begin("A", started=STARTED)
    kept = store.keep_capture(run_id, "A", 1, capture("../../öl / 1500\n"))
    assert (store.folder / kept.file).parent == store.folder / "captures"
    assert read_capture(store.folder / kept.file).label == "../../öl / 1500\n"


def test_a_kept_capture_that_was_altered_afterwards_is_told(store):
    run_id = store.begin("A", started=STARTED)
    kept = store.keep_capture(run_id, "A", 1, capture())
    record = store.finish(run_id, record_of("A", captures=[capture()]), [kept])
    path = store.folder / kept.file
    path.write_bytes(path.read_bytes()[:-1] + b"X")
    with pytest.raises(EvidenceError, match="altered"):
        store.captures(record)


@given(PARTS)
def test_parts_written_ahead_give_the_same_bytes(parts):
    whole = {"serial": "A", "measurements": parts, "z": [1, 2]}
    assert canonical({**whole, "measurements": [fragment(part) for part in parts]}) == canonical(whole)


@given(PARTS, st.data())
def test_some_parts_may_be_written_ahead_and_others_not(parts, data):
    ahead = data.draw(st.lists(st.booleans(), min_size=len(parts), max_size=len(parts)))
    mixed = [fragment(part) if early else part for part, early in zip(parts, ahead, strict=True)]
    assert canonical({"measurements": mixed}) == canonical({"measurements": parts})


@pytest.mark.parametrize("thing", [float("nan"), float("inf"), {1, 2}])
def test_a_part_that_has_no_place_in_json_is_refused_when_it_is_written(thing):
    with pytest.raises(StationError, match="cannot be stored"):
        fragment({"value": thing})


def test_a_stored_record_with_fragments_reads_as_any(store):
    run_id = store.begin("A", started=STARTED)
    parts = [{"name": "thd.ab", "value": 1.5}, {"name": "speed", "value": -1500.0}]
    stored = store.finish(run_id, {**record_of("A"), "measurements": [fragment(part) for part in parts]}, [])
    assert stored["measurements"] == parts
    assert store.show("A") == [stored]
