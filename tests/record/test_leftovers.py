"""What a killed station left is filed as far as it is whole, and swept where it is not."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.record.leftovers import drop_spool, read_spool, spool_of, sweep_halves, sweep_spools
from station.record.store import Store

STARTED, ENDED = "2026-11-25T10:00:00.000Z", "2026-11-25T10:00:30.000Z"
LINES = [json.dumps({"role": "drive", "text": f"SPEED {number}"}).encode() + b"\n" for number in range(5)]


@given(st.integers(0, len(b"".join(LINES))), st.sampled_from([b"", b"\0" * 100, b"\xff\xfe\n", b"7\n", b"\n"]))
def test_whole_lines_are_read_and_no_more(tmp_path_factory, end, rest):
    path = tmp_path_factory.mktemp("spool") / "spool"
    path.write_bytes(b"".join(LINES)[:end] + rest)
    found = read_spool(path) or b""
    assert found == b"".join(LINES[:found.count(b"\n")])
    assert len(found) >= end - max(map(len, LINES))


def test_no_spool_and_an_empty_one_are_none(tmp_path):
    assert read_spool(tmp_path / "none") is None
    (tmp_path / "empty").touch()
    assert read_spool(tmp_path / "empty") is None


def test_spools_of_runs_with_a_record_are_swept(tmp_path):
    for run_id in (1, 2, 3):
        spool_of(tmp_path, run_id).touch()
    (tmp_path / "run-other-transcript.spool").touch()
    sweep_spools(tmp_path, {2})
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "run-000002-transcript.spool", "run-other-transcript.spool"]
    drop_spool(spool_of(tmp_path, 2))
    drop_spool(spool_of(tmp_path, 2))     # safe to repeat
    assert not spool_of(tmp_path, 2).exists()


def test_halves_are_swept_from_every_folder(tmp_path):
    (tmp_path / "files").mkdir()
    for name in ("a.tmp", "files/b.tmp", "files/c"):
        (tmp_path / name).touch()
    sweep_halves(tmp_path)
    assert [path.name for path in sorted(tmp_path.rglob("*"))] == ["files", "c"]


@pytest.mark.parametrize("torn", [b"", b'{"role": "dri'])
def test_an_interrupted_run_keeps_the_transcript_it_left(tmp_path, torn):
    with Store(tmp_path) as store:
        run_id = store.begin("CP40-0001", started=STARTED)
        store.spool(run_id).write_bytes(b"".join(LINES) + torn)
    with Store(tmp_path) as store:
        closed, = store.close_unfinished(ended=ENDED)
        assert closed["transcript"]["lines"] == len(LINES)
        assert store.transcript(closed) == b"".join(LINES)
        assert not store.spool(run_id).exists()


def test_an_interrupted_run_without_a_spool_has_no_transcript(tmp_path):
    with Store(tmp_path) as store:
        store.begin("CP40-0001", started=STARTED)
        closed, = store.close_unfinished(ended=ENDED)
        assert store.transcript(closed) is None


def test_a_spool_outlives_its_record_at_most_until_the_next_start(tmp_path):
    with Store(tmp_path) as store:
        run_id = store.begin("CP40-0001", started=STARTED)
        store.close_unfinished(ended=ENDED)
        store.spool(run_id).write_bytes(LINES[0])   # as after a kill between the commit and the removal
    with Store(tmp_path) as store:
        assert not store.spool(run_id).exists()
        assert store.transcript(store.find()[0]) is None
