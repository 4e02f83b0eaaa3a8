"""kill -9 at any moment: what was acknowledged is there, the rest is whole or absent; `kills.py` does a thousand."""

import json
import random
import shutil
import sqlite3
import sys
from pathlib import Path

import pytest
from kills import killed, writer_of
from store_writer import KEY, open_store, write_runs
from survivors import Told, examine, scratch

from station.record.log_check import body_faults, count_faults, tree_faults
from station.record.record import canonical, sha256_of
from station.record.schema import DATABASE, has_log
from station.record.store import Store

GOLDEN = Path(__file__).parents[1] / "golden" / "store-v1.sqlite"


def test_a_hundred_kills_lose_nothing_that_was_acknowledged():
    told = Told()
    with scratch() as home:
        folder = Path(home) / "store"
        found = list(killed(folder, 100, random.Random(7), told))
        assert {fault for remains, _ in found for fault in remains.faults} == set()
        assert examine(folder, told, newest=sys.maxsize).faults == ()
    assert told.finished
    assert len(told.begun) > len(told.finished)     # some were killed in the middle of a run


@pytest.fixture
def written(tmp_path):
    """A store with six runs, and what was told of it."""
    told = Told()
    write_runs(tmp_path / "store", told.hear, 6)
    return tmp_path / "store", told


def test_a_whole_store_is_whole(written):
    folder, told = written
    assert set(told.finished) == told.begun == set(range(1, 7))
    assert examine(folder, told).state == "whole"


@pytest.mark.parametrize("words", ["begun 7", f"finished 6 {'0' * 64}", "checked 9", f"head 9 {'0' * 64}",
                                   f"head 7 {'0' * 64}"])
def test_what_does_not_agree_with_the_words_of_the_writer_is_noticed(written, words):
    folder, told = written
    told.hear(words)
    assert examine(folder, told).state in ("lost", "corrupt")


@pytest.mark.parametrize("name", ["captures/run-000003-1-*", "captures/*-transcript*", "files/*"])
def test_a_file_that_is_gone_is_noticed(written, name):
    folder, told = written
    sorted(folder.glob(name))[0].unlink()
    assert examine(folder, told).state == "corrupt"


def test_a_store_that_is_gone_is_noticed(written):
    folder, told = written
    (folder / DATABASE).unlink()
    assert examine(folder, told).state != "whole"


def test_a_run_that_was_killed_is_told_by_its_id_at_the_next_start(tmp_path):
    with open_store(tmp_path) as store:
        run_id = store.begin("CP40-0009", started="2026-11-25T10:00:00.000Z")
    with open_store(tmp_path) as store:
        assert [(run.run_id, run.serial) for run in store.unfinished()] == [(run_id, "CP40-0009")]
        closed, = store.close_unfinished(ended="2026-11-25T10:00:30.000Z")
        assert (closed["verdict"], closed["log"]["origin"], closed["log"]["seq"]) == ("NO RESULT", KEY.name, 0)


OLD_RUNS = 300


@pytest.fixture
def old_store(tmp_path):
    """A store from before there was a log, with enough records that their entering takes a while."""
    shutil.copy(GOLDEN, tmp_path / DATABASE)
    connection = sqlite3.connect(tmp_path / DATABASE)
    body, = connection.execute("SELECT body FROM records WHERE run_id = 1").fetchone()
    for number in range(OLD_RUNS):
        record = {**json.loads(body), "serial": f"CP40-1{number:03}"}
        one = canonical(record)
        connection.execute("INSERT INTO runs (run_id, serial, run, started, heading) VALUES (?, ?, 1, ?, '{}')",
                           (number + 100, record["serial"], record["started"]))
        connection.execute("INSERT INTO records VALUES (?, ?, 1, 'CP-40', ?, ?, ?, ?)",
                           (number + 100, record["serial"], record["verdict"], record["started"], sha256_of(one), one))
    connection.commit()
    connection.close()
    return tmp_path


def test_an_old_store_that_is_killed_while_it_is_logged_is_as_it_was_or_logged_whole(old_store):
    with Store(old_store, read_only=True) as store:
        before = store.find()
    seen, life = [], 0.002      # s; too short for so many records, then longer and longer
    with writer_of(old_store) as killed_after:
        while True not in seen:
            killed_after(life)
            life *= 1.2
            with Store(old_store, read_only=True) as store:
                now = {(record["serial"], record["run"]): record for record in store.find()}
                assert [now[record["serial"], record["run"]] for record in before] == before
                seen.append(has_log(store._connection))
    assert False in seen    # so that it was killed while it was at that
    with open_store(old_store) as store:
        assert [entry.kind for entry in store.log.entries()].count("record") == len(store.find())
        log = store.log
        for faults in (tree_faults(log), body_faults(log.entries(), log.origin), count_faults(log.connection)):
            assert list(faults) == []
