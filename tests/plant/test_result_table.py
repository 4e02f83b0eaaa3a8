"""Parts and the table made of them: whole or not there, made again only where another try may find more."""

import pyarrow.parquet as pq
import pytest

from station.audit.finding import AuditFinding, Severity
from station.errors import EvidenceError, StationError, UsageError
from station.plant.chunk import Chunk, part_bytes, read_about, versions
from station.plant.reanalysis import Reanalysed
from station.plant.result_rows import Row, Whose
from station.plant.result_table import MOST_REMARKS, PartFolder
from station.record import capture_file

REMARK = AuditFinding("file.missing", Severity.BROKEN, "capture is missing", "eol-1: run 3", "seq 3", "a file", "none",
                      "Restore it.")


def found(*values, agreement="same", **told):
    rows = tuple(Row("", "thd.ab", "%", value, None, None, 0.0, 0.5, None, agreement) for value in values)
    return Reanalysed(Whose(origin="eol-1", seq=7), rows, **told)


def part(*tests):
    return part_bytes(Chunk((), versions()), tests)


WHOLE = part(found(0.0, 1.0))
BROKEN = part(found(2.0, agreement="differs", remarks=(REMARK,), left_out=("files are missing or altered",),
                    is_whole=False))


@pytest.fixture
def parts(tmp_path):
    with PartFolder(tmp_path / "table.parquet") as folder:
        yield folder


def test_the_table_holds_the_parts_in_order_and_what_they_tell(parts):
    for key, content in (("b", BROKEN), ("a", WHOLE), ("c", WHOLE)):
        parts.keep(key, content)
    about, differences = parts.assemble(["a", "b", "c"])
    table = pq.read_table(parts.table)
    assert table["value"].to_pylist() == [0.0, 1.0, 2.0, 0.0, 1.0]
    assert about.remarks == (REMARK,)
    assert about.left_out == {"files are missing or altered": 1}
    assert read_about(pq.read_metadata(parts.table).metadata, "") == about
    assert differences.counts == {"same": 4, "differs": 1}
    assert differences.by_name["thd.ab"].most_u == 4.0


def test_plain_pandas_reads_the_table(parts):
    import pandas as pd

    parts.keep("a", WHOLE)
    parts.assemble(["a"])
    frame = pd.read_parquet(parts.table)
    assert frame[["origin", "seq", "name", "value"]].to_numpy().tolist() == [["eol-1", 7, "thd.ab", 0.0],
                                                                            ["eol-1", 7, "thd.ab", 1.0]]


def test_small_parts_become_groups_that_are_read_fast(parts, monkeypatch):
    monkeypatch.setattr("station.plant.result_table.ROWS_PER_GROUP", 5)
    for number in range(9):
        parts.keep(str(number), WHOLE)
    parts.assemble([str(number) for number in range(9)])
    metadata = pq.read_metadata(parts.table)
    assert metadata.num_rows == 18
    assert metadata.num_row_groups == 6     # after each third part there are 6 rows, of which 5 make a group


def test_whole_parts_are_there_and_broken_ones_are_made_again(parts):
    assert not parts.has("a")
    parts.keep("a", WHOLE)
    parts.keep("b", BROKEN)
    parts.path("c").write_bytes(WHOLE[:-20])
    parts.path("d").write_bytes(b"")
    assert [parts.has(key) for key in "abcd"] == [True, False, False, False]


def test_parts_go_once_the_table_is_whole_also_those_of_another_program(parts):
    parts.keep("a", WHOLE)
    parts.keep("of-another-program", WHOLE)
    parts.assemble(["a"])
    assert not parts.folder.exists()


def test_parts_stay_while_files_are_missing(parts):
    parts.keep("a", WHOLE)
    parts.keep("b", BROKEN)
    parts.assemble(["a", "b"])
    assert parts.path("a").is_file()
    parts.keep("b", WHOLE)
    about, _ = parts.assemble(["a", "b"])
    assert about.is_whole
    assert pq.read_table(parts.table).num_rows == 4
    assert not parts.folder.exists()


def test_a_table_that_could_not_be_written_leaves_the_parts_and_the_table_before(parts, monkeypatch):
    parts.keep("a", WHOLE)
    parts.keep("b", BROKEN)
    parts.assemble(["a", "b"])
    before = parts.table.read_bytes()

    def full(folder):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(capture_file.os, "fsync", full)
    with pytest.raises(StationError, match="No space left on device"):
        parts.assemble(["a"])
    assert parts.table.read_bytes() == before
    assert parts.path("a").is_file()
    assert not parts.table.with_name("table.parquet.tmp").exists()


def test_another_file_of_that_name_is_never_replaced(tmp_path):
    for content in (b"other", WHOLE[:-4]):
        (tmp_path / "table.parquet").write_bytes(content)
        with pytest.raises(UsageError, match="another file of that name"), PartFolder(tmp_path / "table.parquet"):
            raise AssertionError
        assert (tmp_path / "table.parquet").read_bytes() == content


def test_one_table_is_made_by_one_re_analysis_at_a_time(parts):
    with pytest.raises(UsageError, match="another re-analysis"), PartFolder(parts.table):
        raise AssertionError
    with PartFolder(parts.table.with_name("other.parquet")) as other:
        assert other.folder != parts.folder


def test_a_folder_that_is_none(tmp_path):
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(UsageError, match="cannot be written there"), PartFolder(tmp_path / "file" / "table.parquet"):
        raise AssertionError


def test_remarks_of_a_whole_plant_do_not_fill_the_metadata(parts):
    parts.keep("a", part(*[found(remarks=(REMARK,), left_out=("files are missing or altered",))] * (MOST_REMARKS + 5)))
    about, _ = parts.assemble(["a"])
    assert len(about.remarks) == MOST_REMARKS
    assert about.left_out == {"files are missing or altered": MOST_REMARKS + 5}


def test_a_part_that_was_spoilt_meanwhile_makes_no_table(parts):
    parts.keep("a", WHOLE)
    parts.path("a").write_bytes(b"PAR1")
    with pytest.raises(EvidenceError):
        parts.assemble(["a"])
    assert not list(parts.table.parent.glob("table.parquet*[!s]"))
