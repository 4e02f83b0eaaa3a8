"""The trail in an archive: green as its station entered it, told where somebody with all keys has forged it."""

import pytest

from station.record.log_key import LogKey
from station.record.store import Store
from station.record.trail_entry import BEGINNING, chain, portion


def entries(first, last):
    return [{"number": number, "at": "2026-11-25T10:00:00.000Z", "who": "A. Auditee", "what": "scan", "about": "",
             "why": "", "where": "127.0.0.1", "good": True} for number in range(first, last + 1)]


END = chain(entries(1, 2), BEGINNING)
FIRST, SECOND = portion(entries(1, 2), BEGINNING, END), portion(entries(3, 3), END, chain(entries(3, 3), END))


def enter(archive, *portions):
    key = LogKey.load(archive / "keys")
    with Store(archive / "store", log_key=key, origin=key.name) as store:
        for said in portions:
            store.add_statement("trail", said)


def test_a_trail_is_no_finding(archive, found):
    enter(archive, FIRST, SECOND)
    assert found() == []


@pytest.mark.parametrize(("portions", "findings"), [
    ((FIRST, FIRST), [("circumstance.trail_anew", "doubtful", "entry 7, trail 3")]),
    ((FIRST, portion(entries(4, 4), END, chain(entries(4, 4), END))), [
        ("circumstance.trail", "broken", "entry 7, trail 3")]),
    ((SECOND, FIRST), [("circumstance.trail", "broken", "entry 6, trail 2"),
                       ("circumstance.trail_anew", "doubtful", "entry 7, trail 3")]),
    ((FIRST | {"chained": 64 * "1"},), [("circumstance.trail", "broken", "entry 6, trail 2")]),
    (({"entries": 5},), [("circumstance.trail", "broken", "entry 6, trail 2")])])
def test_a_forged_trail_is_told(archive, found, portions, findings):
    enter(archive, *portions)
    assert found("--quick") == findings
