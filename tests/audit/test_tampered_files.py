"""What is done to the files of an archive is found, and called what it is, at the file to which it was done."""

import shutil

import pytest
from tampering import body, flip, swap

BROKEN = "broken"
FIRST = "entry 0, record of CP40-0001, run 1"


@pytest.fixture
def files(archive):
    """The files of the first record, by what they are."""
    record, store = body(archive, 0), archive / "store"
    named = {capture["label"]: store / capture["file"] for capture in record["captures"]}
    kept = {file["kind"]: store / "files" / file["sha256"] for file in record["files"]}
    return {**named, **kept, "transcript": store / record["transcript"]["file"]}


def test_bit_flipped_in_a_capture(files, found):
    flip(files["forward 1000"])
    assert found("--quick") == [
        ("file.altered", BROKEN, f"{files['forward 1000']}: capture forward 1000, {FIRST}")]


def test_captures_swapped(files, found):
    swap(files["forward 1000"], files["reverse 2000"])
    assert found("--quick") == [
        ("file.exchanged", BROKEN, f"{files['forward 1000']}: capture forward 1000, {FIRST}"),
        ("file.exchanged", BROKEN, f"{files['reverse 2000']}: capture reverse 2000, {FIRST}")]


def test_capture_of_another_motor(archive, files, audit):
    other = archive / "store" / body(archive, 5)["captures"][0]["file"]
    shutil.copy(other, files["forward 1000"])
    code, told = audit(archive, "--quick")
    finding, = (each for each in told["targets"][0]["findings"] if each["severity"] == BROKEN)
    assert (code, finding["code"]) == (7, "file.exchanged")
    assert finding["got"].endswith("entry 5, record of VB24-0001, run 1")
    assert finding["since"].startswith("seq 0, 20")


def test_capture_removed(files, found):
    files["reverse 1000"].unlink()
    assert found("--quick") == [
        ("file.missing", BROKEN, f"{files['reverse 1000']}: capture reverse 1000, {FIRST}")]


def test_captures_removed_or_altered_are_not_computed_with(files, audit, archive):
    files["reverse 1000"].unlink()
    _, told = audit(archive)
    step = next(step for step in told["targets"][0]["steps"] if step["step"] == "value")
    assert step["left_out"] == "captures are missing, removed or altered"


def test_transcript_altered(files, found):
    flip(files["transcript"])
    assert found("--quick") == [("file.altered", BROKEN, f"{files['transcript']}: transcript, {FIRST}")]


@pytest.mark.parametrize("kind", ["limit file", "sequence", "bench file", "station file"])
def test_file_in_force_altered(files, found, kind):
    files[kind].write_bytes(files[kind].read_bytes() + b"# better\n")
    assert found("--quick") == [("file.altered", BROKEN, str(files[kind]))]


def test_limit_file_in_force_removed(files, found):
    files["limit file"].unlink()
    assert {(code, where.partition(":")[0]) for code, _, where in found("--quick")} == {
        ("file.missing", str(files["limit file"]))}


def test_limit_file_edited_afterwards(archive, found):
    path = archive / "limits" / "CP-40.toml"
    path.write_text(path.read_text().replace('"hall_placement" = { unit = "deg", lower = -4.0', "x") + "# wider\n")
    assert found("--quick") == [("circumstance.revision", "doubtful", f"{path}, revision A")]


def test_file_that_nobody_named_is_hashed_too(archive, found):
    path = archive / "store" / "files" / ("0" * 64)
    path.write_bytes(b"format = 1\n")
    assert found("--quick") == [("file.altered", BROKEN, str(path))]
