"""What is said after a test is stored in entries of its own, and an altered one is never shown as genuine."""

import sqlite3

import pytest

from station.errors import EvidenceError
from station.record.schema import DATABASE
from station.record.store import Store


def test_statements_are_numbered_and_kept_apart_by_kind(tmp_path):
    with Store(tmp_path) as store:
        first = store.add_statement("correction", {"about": "CP40-0001"})
        second = store.add_statement("retention", {"rule": "two years"})
        third = store.add_statement("correction", {"about": "CP40-0002"})
        assert [one["statement"] for one in (first, second, third)] == [1, 2, 3]
        assert [one["log"]["seq"] for one in (first, second, third)] == [0, 1, 2]
    with Store(tmp_path, read_only=True) as store:
        assert store.statements("correction") == [first, third]
        assert store.statements("retention") == [second]


@pytest.mark.parametrize("alteration", [
    "UPDATE statements SET body = CAST(replace(CAST(body AS TEXT), '0001', '0002') AS BLOB)",
    "UPDATE statements SET kind = 'retention'", "UPDATE statements SET statement_id = 7"])
def test_an_altered_statement_is_told(tmp_path, alteration):
    with Store(tmp_path) as store:
        store.add_statement("correction", {"about": "CP40-0001"})
    forger = sqlite3.connect(tmp_path / DATABASE)
    forger.executescript(f"DROP TRIGGER statements_update; {alteration};")
    forger.close()
    with Store(tmp_path, read_only=True) as store, pytest.raises(EvidenceError, match="was altered"):
        store.statements("correction" if "kind" not in alteration else "retention")
