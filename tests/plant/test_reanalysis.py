"""One test analysed again: the bits of its record, and every way in which its files or its record may be others."""

import json
import shutil
from dataclasses import replace

import pytest
from drawn_archive import make_archive

from station.audit.stored import comes_from_captures
from station.cli.reanalyse import WORDS
from station.judgement.limit_file import parse_limits
from station.plant.archive_tests import Wanted, find_tests
from station.plant.reanalysis import LooseCaptures, pack, reanalyse
from station.plant.result_rows import Whose
from station.record.merkle import leaf_hash
from station.record.store import Store
from station.toml_file import parse_toml


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return make_archive(tmp_path_factory.mktemp("archive"))


@pytest.fixture
def archive(made, tmp_path):
    """A copy of one store, whose files may be changed."""
    return shutil.copytree(made / "two", tmp_path / "two")


def first(store):
    return next(find_tests(store, Wanted(), None))


def record_of(store):
    with Store(store, read_only=True) as one:
        return one.find()[0]


def told_otherwise(test, change):
    """Return the test with another record, entered in the log as if it had always been so."""
    record = change(record_of_packed(test))
    body = json.dumps(record).encode()
    return replace(test, packed=pack(body), size=len(body), entry=replace(test.entry, leaf=leaf_hash(body)))


def record_of_packed(test):
    import pyarrow as pa

    return json.loads(pa.Codec("zstd").decompress(test.packed, test.size, asbytes=True))


def test_every_value_of_the_record_comes_out_to_the_last_bit(archive):
    found, record = reanalyse(first(archive)), record_of(archive)
    stored = {(m["label"], m["name"]): (m["value"], m["u"], m["dof"]) for m in record["measurements"]
              if comes_from_captures(m["name"], m["label"])}
    assert {(row.label, row.name): (row.value, row.u, row.dof) for row in found.rows} == stored
    assert len(stored) > 100
    assert {row.agreement for row in found.rows} == {"same"}
    assert found.whose == Whose(None, "eol-2", 0, record["serial"], 1, "CP-40", record["started"])
    assert all((row.value, row.u, row.dof) == (row.stored_value, row.stored_u, row.stored_dof)
               for row in found.rows)
    assert (found.remarks, found.left_out, found.is_whole) == ((), (), True)


def test_values_that_the_record_has_otherwise_are_told_one_by_one(archive):
    def change(record):
        measured = [m for m in record["measurements"] if comes_from_captures(m["name"], m["label"])]
        measured[0]["value"] += 3 * measured[0]["u"]
        measured[1]["u"] *= 1 + 1e-9
        record["measurements"].remove(measured[2])
        record["measurements"].append({**measured[3], "name": "harmonic_2.zz"})
        return record

    rows = reanalyse(told_otherwise(first(archive), change)).rows
    record = record_of(archive)
    names = [(m["label"], m["name"]) for m in record["measurements"] if comes_from_captures(m["name"], m["label"])]
    by_name = {(row.label, row.name): row for row in rows}
    assert by_name[names[0]].agreement == "differs"
    shift = by_name[names[0]].stored_value - by_name[names[0]].value
    assert shift == pytest.approx(3 * by_name[names[0]].u)
    assert by_name[names[1]].agreement == "rounded"
    assert (by_name[names[2]].agreement, by_name[names[2]].stored_value) == ("left out", None)
    extra = by_name[names[3][0], "harmonic_2.zz"]
    assert (extra.agreement, extra.value) == ("unfounded", None)
    assert {row.agreement for row in rows} == set(WORDS) - {""}
    assert sum(row.agreement == "same" for row in rows) == len(rows) - 4


def test_another_verdict_of_today_is_told_and_one_of_a_run_in_trouble_is_not(archive):
    found = reanalyse(told_otherwise(first(archive), lambda record: {**record, "verdict": "FAIL"}))
    assert [(remark.code, remark.expected, remark.got) for remark in found.remarks] == [
        ("verdict.today", "PASS (computed again)", "FAIL (record)")]
    assert found.remarks[0].where.startswith("eol-2: entry 0, record of ")
    assert {row.agreement for row in found.rows} == {"same"}


def test_a_record_that_is_not_the_one_in_the_log_is_not_used(archive):
    test = first(archive)
    body = json.dumps(record_of_packed(test)).encode()      # the same, otherwise spaced
    found = reanalyse(replace(test, packed=pack(body), size=len(body)))
    assert ([remark.code for remark in found.remarks], found.rows) == (["leaf.wrong"], ())


@pytest.mark.parametrize(("spoil", "code"), [
    pytest.param(lambda path: path.unlink(), "file.missing", id="missing"),
    pytest.param(lambda path: path.write_bytes(path.read_bytes()[:-9] + b"unaltered"), "file.altered", id="altered"),
])
@pytest.mark.parametrize("which", ["capture", "limit file"])
def test_a_file_that_cannot_be_used_gives_no_values_and_another_try_is_worth_it(archive, spoil, code, which):
    record = record_of(archive)
    name = record["captures"][1]["file"] if which == "capture" else f"files/{record['limit_file']['sha256']}"
    spoil(archive / name)
    found = reanalyse(first(archive))
    assert (found.rows, found.is_whole) == ((), False)
    expected = code if which == "capture" or code == "file.missing" else "file.unreadable"
    assert [remark.code for remark in found.remarks] == [expected]
    assert record["serial"] in found.remarks[0].where or which == "limit file"


def test_an_archive_that_is_not_there_leaves_nothing_to_be_taken_for_done(archive, tmp_path):
    test = first(archive)
    archive.rename(tmp_path / "elsewhere")
    found = reanalyse(test)
    assert (found.rows, found.is_whole) == ((), False)


def test_captures_that_a_rule_removed_are_left_out_and_done(archive):
    record = record_of(archive)
    files = [{"file": entry["file"], "sha256": entry["sha256"], "serial": record["serial"], "run": 1}
             for entry in record["captures"]]
    with Store(archive, origin="eol-2") as store:
        store.add_statement("retention", {
            "format": 1, "person": "K. Amsel", "at": "2026-11-25T10:00:00.000Z", "files": files,
            "rule": {"verdict": "PASS", "older_than_days": 30, "counted_to": "2026-11-25T10:00:00.000Z"}})
    assert len(reanalyse(first(archive)).rows) > 100        # announced, and still there
    for entry in files:
        (archive / entry["file"]).unlink()
    found = reanalyse(first(archive))
    assert (found.rows, found.remarks, found.is_whole) == ((), (), True)
    assert len(found.left_out) == 1
    assert "removed on 2026-11-25" in found.left_out[0]


def loose(archive):
    record = record_of(archive)
    files = tuple(str(archive / entry["file"]) for entry in record["captures"])
    limits = archive / "files" / record["limit_file"]["sha256"]
    return LooseCaptures(files, (), limits.read_bytes(), "CP-40.toml")


def test_captures_without_a_record_give_the_values_of_the_record_that_there_was(archive):
    stored = {(row.label, row.name): (row.value, row.u) for row in reanalyse(first(archive)).rows}
    found = reanalyse(loose(archive))
    assert {(row.label, row.name): (row.value, row.u) for row in found.rows} == stored
    assert {row.agreement for row in found.rows} == {None}
    assert found.whose == Whose(source=loose(archive).files[0], motor_type="CP-40")


def test_captures_of_another_motor_type_are_refused_and_counted(archive):
    test = loose(archive)
    wrong = test.limits.replace(b"pole_pairs = 4", b"pole_pairs = 7")
    assert parse_limits(parse_toml(wrong, "wrong.toml")).motor_type.pole_pairs == 7
    found = reanalyse(replace(test, limits=wrong))
    assert not found.rows
    assert found.left_out[0].startswith("captures are refused: ")


def test_a_loose_capture_that_is_none_is_told(archive, tmp_path):
    broken = tmp_path / "broken.parquet"
    broken.write_bytes(b"PAR1")
    found = reanalyse(replace(loose(archive), files=(str(broken),)))
    assert ([remark.code for remark in found.remarks], found.is_whole) == (["file.unreadable"], False)
