"""Releasing: only with a study of this draft and of all tests, kept, signed and logged, and never half in force."""

import json
import shutil
import stat

import pytest
from drawn_records import limit_line, limits_of, record_of, store_record

from station.clock import Clock, Instant
from station.errors import EvidenceError, StationError, UsageError
from station.judgement.limit_file import parse_limits
from station.record.kept_files import kept_file
from station.record.log_key import LogKey
from station.record.record_schema import faults_of
from station.record.release_entry import verify_release
from station.record.store import Store
from station.study import release as releasing
from station.study.release import Wish, put_in_force, release_draft
from station.toml_file import read_toml

CLOCK = Clock(utc=lambda: Instant.fromisoformat("2026-11-26T08:00:00+00:00"), monotonic=lambda: 0.0,
              pause=lambda _s: None)
LIMIT = limit_line("hall_placement.b", -4.0, 4.0)


class Line:
    """A store with tests in it, limits in force, and a draft."""

    def __init__(self, folder, key):
        self.folder, self.key = folder, key
        self.target = folder / "limits" / "CP-40.toml"
        self.target.parent.mkdir()
        self.target.write_text(limits_of([LIMIT]).text)
        self.first = self.in_force()
        self.store = Store(folder / "store", log_key=key, origin="eol-1")
        self.test("A")
        self.draft = self.write("draft.toml", limits_of([limit_line("hall_placement.b", -3.0, 3.0)], number="B",
                                                        released=False).text)

    def write(self, name, text):
        path = self.folder / name
        path.write_text(text)
        return path

    def test(self, serial):
        store_record(self.store, record_of(serial, {("hall_placement.b", "forward 1000"): (1.0, 0.1)}, self.first))

    def study(self, draft=None, **other):
        log = self.store.log
        report = {"study": "what-if", "span": {"since": "", "until": ""}, "filter": "all", "tests": len(log),
                  "draft": {"sha256": read_toml(draft or self.draft).sha256},
                  "log": {"origin": log.origin, "size": len(log), "root": log.head().root.hex()}} | other
        return self.write("what-if.json", json.dumps(report))

    def release(self, study=None, draft=None, person="A. Tester"):
        wish = Wish(draft or self.draft, self.target, study or self.study(), person, "three returns from the field")
        return release_draft(self.store, self.key, wish, CLOCK)

    def in_force(self):
        return parse_limits(read_toml(self.target))


@pytest.fixture
def line(tmp_path):
    made = Line(tmp_path, LogKey.make(tmp_path / "keys", "eol-1"))
    yield made
    made.store.close()


def untouched(line, size):
    return len(line.store.log) == size and line.in_force() == line.first and not (
        line.target.parent / releasing.RELEASED).exists()


def test_a_release_is_in_force_signed_logged_and_kept_with_its_study(line):
    study = line.study()
    said = line.release(study)
    now = line.in_force()
    assert faults_of("release", said) == []
    assert (now.revision.number, now.revision.released_by, now.revision.released_on) == ("B", "A. Tester", "2026-11-26")
    assert said["study"]["sha256"] in now.revision.study
    assert now.limits == parse_limits(read_toml(line.draft)).limits
    assert (said["sha256"], said["predecessor"]) == (now.sha256, {"revision": "A", "sha256": line.first.sha256})
    verify_release(said, [line.key.verifier])
    for sha256, content in ((now.sha256, line.target.read_bytes()), (said["draft_sha256"], line.draft.read_bytes()),
                            (said["study"]["sha256"], study.read_bytes())):
        assert kept_file(line.store.folder, sha256) == content
    folder = line.target.parent / releasing.RELEASED
    assert sorted(path.name for path in folder.iterdir()) == [
        f"CP-40-A-{line.first.sha256[:8]}.toml", f"CP-40-B-{now.sha256[:8]}.note",
        f"CP-40-B-{now.sha256[:8]}.study.json", f"CP-40-B-{now.sha256[:8]}.toml"]
    assert all(stat.S_IMODE(path.stat().st_mode) == 0o444 for path in folder.iterdir())
    assert (folder / f"CP-40-A-{line.first.sha256[:8]}.toml").read_text() == line.first.text
    assert (folder / f"CP-40-B-{now.sha256[:8]}.note").read_text() == said["note"]
    assert (folder / f"CP-40-B-{now.sha256[:8]}.study.json").read_bytes() == study.read_bytes()


def test_the_study_must_be_of_this_draft(line):
    size, study = len(line.store.log), line.study()
    line.draft.write_text(line.draft.read_text().replace("upper = 3.0", "upper = 3.1"))
    with pytest.raises(UsageError, match="another draft"):
        line.release(study)
    assert untouched(line, size)


def test_the_study_must_be_no_older_than_the_tests(line):
    study = line.study()
    line.test("B")
    with pytest.raises(UsageError, match="older than its data"):
        line.release(study)
    assert untouched(line, 2)
    line.release(line.study())


def test_what_changes_no_value_may_have_been_logged_since(line):
    study = line.study()
    for kind in ("trail", "retention"):
        line.store.add_statement(kind, {"format": 1, "files": []})
    line.release(study)


@pytest.mark.parametrize("wrong", [
    {"log": {"size": 1, "root": "0" * 64}}, {"log": {"size": 9, "root": "0" * 64}}])
def test_the_study_must_be_of_this_store(line, wrong):
    with pytest.raises(UsageError, match="another store"):
        line.release(line.study(**wrong))
    assert untouched(line, 1)


def test_the_study_must_not_leave_out_the_newest_tests(line):
    for span, tests in (({"since": "", "until": "2026-11-01"}, 1), ({"since": "2030-01-01", "until": ""}, 0)):
        with pytest.raises(UsageError, match="leaves out the newest tests"):
            line.release(line.study(span=span, tests=tests))
    assert untouched(line, 1)
    assert line.release(line.study(span={"since": "2026-11-01", "until": ""}))["revision"] == "B"


@pytest.mark.parametrize("content", ["", "{}", "[]", "[" * 99999, "\x00"])
def test_what_is_no_report_is_refused(line, content):
    with pytest.raises(UsageError, match="not the report"):
        line.release(line.write("report.json", content))
    assert untouched(line, 1)


@pytest.mark.parametrize("wrong", [
    {"study": "type"}, {"log": {"size": -1, "root": ""}}, {"log": {"size": True, "root": ""}}, {"filter": 3},
    {"span": None}, {"tests": "1"}])
def test_a_report_that_does_not_say_what_a_release_asks_is_refused(line, wrong):
    with pytest.raises(UsageError, match="not the report"):
        line.release(line.study(**wrong))
    with pytest.raises(UsageError, match="cannot be read"):
        line.release(line.folder / "absent.json")
    assert untouched(line, 1)


def test_another_release_since_makes_no_study_old(line):
    said = line.release()
    other = line.write("other.toml", line.draft.read_text().replace('number = "B"', 'number = "C"'))
    report = json.loads(line.study(other).read_text()) | {"log": {"size": 1, "root": said["study"]["log_root"]}}
    second = line.release(line.write("what-if.json", json.dumps(report)), other)
    assert second["predecessor"] == {"revision": "B", "sha256": said["sha256"]}
    assert len(line.store.statements("release")) == 2


def test_a_revision_is_released_once(line):
    line.release()
    again = line.write("again.toml", line.draft.read_text().replace("upper = 3.0", "upper = 2.0"))
    with pytest.raises(UsageError, match="released before"):
        line.release(line.study(again), again)
    first = line.write("first.toml", line.draft.read_text().replace('number = "B"', 'number = "A"'))
    with pytest.raises(UsageError, match="released before"):
        line.release(line.study(first), first)


def test_what_is_released_is_no_draft(line):
    released = line.write("released.toml", limits_of([LIMIT], number="B").text)
    with pytest.raises(UsageError, match="no draft"):
        line.release(line.study(released), released)
    assert untouched(line, 1)


def test_a_draft_of_another_type_never_replaces_the_file(line):
    other = line.write("other.toml", line.draft.read_text().replace('name = "CP-40"', 'name = "VB-24"'))
    with pytest.raises(UsageError, match="another motor type"):
        line.release(line.study(other), other)
    assert untouched(line, 1)


def test_somebody_must_answer_for_it(line):
    with pytest.raises(UsageError, match="without a person"):
        line.release(person="  ")
    assert untouched(line, 1)


def test_an_interruption_after_the_entry_is_mended_by_repeating(line, monkeypatch):
    def cut(*_):
        raise KeyboardInterrupt

    study = line.study()
    monkeypatch.setattr(releasing, "put_in_force", cut)
    with pytest.raises(KeyboardInterrupt):
        line.release(study)
    monkeypatch.undo()
    assert line.in_force() == line.first
    said, = line.store.statements("release")
    assert line.release(study) == said
    assert (line.in_force().sha256, len(line.store.log)) == (said["sha256"], 2)


def test_an_edited_file_is_put_back_and_an_altered_archive_told(line):
    said = line.release()
    line.target.write_text(line.target.read_text().replace("3.0", "9.0"))
    put_in_force(line.store, said, line.target)
    assert line.in_force().sha256 == said["sha256"]
    kept = line.target.parent / releasing.RELEASED / f"CP-40-B-{said['sha256'][:8]}.toml"
    kept.chmod(0o644)
    kept.write_text(kept.read_text().replace("3.0", "9.0"))
    with pytest.raises(EvidenceError, match="released limit file was altered"):
        put_in_force(line.store, said, line.target)


def test_a_draft_in_the_place_of_the_file_is_released_there(line):
    shutil.copy(line.draft, line.target)
    said = line.release(line.study(line.target), line.target)
    assert said["predecessor"] is None
    assert line.in_force().sha256 == said["sha256"]


def test_a_folder_that_cannot_be_made_leaves_everything(line):
    (line.target.parent / releasing.RELEASED).write_text("in the way")
    with pytest.raises(StationError, match="could not be kept"):
        line.release()
    assert (len(line.store.log), line.in_force()) == (1, line.first)
