"""`station limits` on a starter folder: compare, release, the gate before a motor, history and restore."""

import json

import pytest

from station.exit_code import ExitCode
from station.judgement.limit_file import parse_limits
from station.record.store import Store
from station.toml_file import read_toml

RELEASED = 'released_by = "Line engineering"\nreleased_on = 2026-11-02\n'


@pytest.fixture
def station(folder, command):
    """Run `station WORDS --station FILE` in that folder."""
    return lambda *words: command(*words, "--station", folder / "station.toml")


@pytest.fixture
def in_force(folder):
    return folder / "limits" / "CP-40.toml"


@pytest.fixture
def draft(folder, in_force):
    text = in_force.read_text().replace(RELEASED, "").replace('number = "A"', 'number = "B"')
    path = folder / "draft.toml"
    path.write_text(text.replace("lower = 9.6, upper = 10.4", "lower = 9.5, upper = 10.4", 1))
    return path


def stored_tests(folder):
    with Store(folder / "store", read_only=True) as store:
        return len(store.find())


def test_compare_says_what_a_draft_changes(command, in_force, draft):
    code, out, _ = command("limits", "compare", in_force, draft)
    assert code == 0
    hashes = [read_toml(path).sha256 for path in (in_force, draft)]
    assert all(sha256 in out for sha256 in hashes)
    assert "CP-40 revision A, released by Line engineering" in out
    assert "CP-40 revision B, a draft" in out
    assert "lower limit wider by 0.1 V/krpm; tolerance 0.8 to 0.9 (+12.5 %)" in out
    report = json.loads(command("limits", "compare", in_force, draft, "--json")[1])
    assert [change["key"] for change in report["changes"]] == ["back_emf_constant_peak"]
    assert [report[side]["sha256"] for side in ("before", "after")] == hashes
    assert "No limit, rule or convention differs" in command("limits", "compare", in_force, in_force)[1]


def test_a_draft_is_never_used_in_the_production_but_in_a_reference_check(folder, station, in_force, draft):
    in_force.write_text(draft.read_text())
    code, _, err = station("test", "CP40-0001")
    assert (code, "is a draft" in err, "station limits release" in err) == (ExitCode.NOT_ALLOWED, True, True)
    assert stored_tests(folder) == 0
    code, out, _ = station("reference", "check", "--type", "CP-40")
    assert code == 0, out
    with Store(folder / "store", read_only=True) as store:
        records = store.find()
    assert {(record["purpose"], record["limit_file"]["released_by"], record["limit_file"]["revision"])
            for record in records} == {("reference check", None, "B")}


def test_release_history_and_restore(folder, station, in_force, draft):
    assert station("test", "CP40-0001")[0] == 0
    with Store(folder / "store", read_only=True) as store:
        log = {"origin": store.log.origin, "size": len(store.log), "root": store.log.head().root.hex()}
    study = folder / "what-if.json"
    study.write_text(json.dumps({"study": "what-if", "draft": {"sha256": read_toml(draft).sha256}, "log": log,
                                 "span": {"since": "", "until": ""}, "filter": "all", "tests": 1}))
    words = ("limits", "release", draft, "--by", "A. Tester", "--reason", "magnets of a second source")
    code, _, err = station(*words)
    assert (code, "a release needs a study" in err, f"station study what-if {draft}" in err) == (
        ExitCode.WRONG_USE, True, True)
    code, out, _ = station("limits", "history", "CP-40")
    assert (code, "is revision A, released by Line engineering on 2026-11-02" in out) == (0, True)
    assert station("limits", "history", "CP-99")[0] == ExitCode.WRONG_USE
    code, _, err = station(*words, "--study", folder / "absent.json")
    assert (code, "study cannot be read" in err) == (ExitCode.WRONG_USE, True)
    code, out, _ = station(*words, "--study", study)
    assert (code, "CP-40 revision B is in force" in out, "+12.5 %" in out) == (0, True, True), out
    limits = parse_limits(read_toml(in_force))
    assert (limits.revision.number, limits.revision.released_by) == ("B", "A. Tester")
    code, out, _ = station(*words, "--study", study)
    assert (code, "was released already" in out) == (0, True)

    assert station("test", "CP40-0003")[0] == 0
    assert json.loads(station("records", "show", "CP40-0003", "--json")[1])["limit_file"]["sha256"] == limits.sha256
    in_force.write_text(in_force.read_text().replace("lower = 9.5", "lower = 9.0"))
    code, _, err = station("test", "CP40-0004")
    assert (code, "station limits restore CP-40" in err) == (ExitCode.NOT_ALLOWED, True)
    assert stored_tests(folder) == 2
    code, out, _ = station("limits", "history", "CP-40")
    assert (code, "1 release(s) of CP-40" in out, "is another: revision B. Put it back" in out) == (0, True, True)
    assert all(word in out for word in ("A. Tester", "magnets of a second source", limits.sha256[:8], "yes"))
    assert station("limits", "restore", "CP-40")[0] == 0
    assert read_toml(in_force).sha256 == limits.sha256
    assert "CP-40.toml is the last one" in station("limits", "history", "CP-40")[1]
    assert station("limits", "restore", "VB-24")[0] == ExitCode.WRONG_USE
    assert station("audit", folder / "store")[0] == 0
    assert station("records", "check")[0] == 0

    kept = folder / "store" / "files" / limits.sha256
    kept.write_bytes(kept.read_bytes().replace(b"10.4", b"10.9"))
    code, out, _ = station("limits", "history", "CP-40")
    assert (code, "was altered" in out) == (ExitCode.EVIDENCE, True)
