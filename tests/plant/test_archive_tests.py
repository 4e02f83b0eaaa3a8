"""Which tests are found in which folder, and what is refused."""

import shutil
from pathlib import Path

import pytest

from station.errors import UsageError
from station.plant.archive_tests import Wanted, find_tests
from station.record.record import interrupted_record
from station.record.store import Store
from station.toml_file import read_toml

LIMITS = Path(__file__).parents[2] / "limits" / "CP-40.toml"
GOLDEN = Path(__file__).parents[1] / "golden" / "store-v1.sqlite"
STARTED = {"A1": "2026-11-20T06:00:00.000Z", "A2": "2026-11-21T06:00:00.000Z", "B1": "2026-11-22T06:00:00.000Z"}


def store_at(folder, origin):
    """A store with an interrupted run of each motor and a statement between them."""
    with Store(folder, origin=origin) as store:
        for serial, started in STARTED.items():
            run = store.begin(serial, started=started)
            store.finish(run, interrupted_record(serial, started, started, {}), [])
            store.correct(store.show(serial)[0], "note", person="R. Fink", reason="seen", at=started)
    return folder


@pytest.fixture
def archive(tmp_path):
    store_at(tmp_path / "b" / "store", "eol-1")
    store_at(tmp_path / "a", "eol-2")
    return tmp_path


def found(archive, **wanted):
    return [(test.origin, test.entry.seq) for test in find_tests(archive, Wanted(**wanted), None)]


def test_stores_are_found_wherever_they_lie_in_the_order_of_their_logs(archive):
    assert found(archive) == [(origin, seq) for origin in ("eol-1", "eol-2") for seq in (0, 2, 4)]
    assert found(archive / "b" / "store") == [("eol-1", seq) for seq in (0, 2, 4)]


@pytest.mark.parametrize(("wanted", "seqs"), [
    ({"serial": "A*"}, [0, 2]), ({"serial": "A1"}, [0]), ({"since": "2026-11-21"}, [2, 4]),
    ({"until": "2026-11-21"}, [0, 2]), ({"since": "2026-11-21", "until": "2026-11-21"}, [2]),
    ({"motor_type": "CP-40"}, []),
])
def test_only_what_is_wanted(archive, wanted, seqs):
    assert found(archive / "a", **wanted) == [("eol-2", seq) for seq in seqs]


def test_the_same_log_twice_would_count_twice_and_is_refused(archive):
    shutil.copytree(archive / "a", archive / "copy")
    with pytest.raises(UsageError, match="the same log is there twice") as refused:
        found(archive)
    assert "eol-2" in str(refused.value)


@pytest.mark.parametrize("where", ["absent", "a/records.sqlite"])
def test_what_is_no_folder_is_refused(archive, where):
    with pytest.raises(UsageError, match="no such archive"):
        found(archive / where)


def test_a_store_without_a_log_is_refused(tmp_path):
    shutil.copy(GOLDEN, tmp_path / "records.sqlite")
    with pytest.raises(UsageError, match="no log"):
        found(tmp_path)


def test_limits_beside_records_are_refused(archive):
    with pytest.raises(UsageError, match="limit files of their own"):
        list(find_tests(archive, Wanted(), read_toml(LIMITS)))


@pytest.fixture
def captures(tmp_path):
    for name in ("eol-1/captures/run-000001-1-forward-1000.parquet", "eol-1/captures/run-000001-10-reverse-2.parquet",
                 "eol-1/captures/run-000001-2-reverse-1000.parquet", "eol-1/captures/run-000002-1-forward-1.parquet",
                 "eol-2/captures/run-000001-1-forward-1000.parquet", "bench/one.parquet", "bench/two.parquet"):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"x" * len(name))
    return tmp_path


def test_captures_without_records_are_put_together_by_run_in_the_order_of_capture(captures):
    tests = list(find_tests(captures, Wanted(), read_toml(LIMITS)))
    assert [[str(Path(file).relative_to(captures)) for file in test.files] for test in tests] == [
        ["bench/one.parquet"], ["bench/two.parquet"],
        [f"eol-1/captures/run-000001-{end}.parquet" for end in ("1-forward-1000", "2-reverse-1000", "10-reverse-2")],
        ["eol-1/captures/run-000002-1-forward-1.parquet"], ["eol-2/captures/run-000001-1-forward-1000.parquet"]]
    assert all(test.limits == LIMITS.read_bytes() for test in tests)


def test_captures_without_records_need_limits_and_cannot_be_chosen(captures):
    with pytest.raises(UsageError, match="have no records"):
        found(captures)
    with pytest.raises(UsageError, match="cannot be chosen"):
        list(find_tests(captures, Wanted(serial="A*"), read_toml(LIMITS)))


def test_an_empty_folder_is_no_archive(tmp_path):
    with pytest.raises(UsageError, match="nothing to analyse"):
        found(tmp_path)
