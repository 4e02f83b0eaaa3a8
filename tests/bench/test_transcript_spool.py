"""What is said during a run is in a file all the while, and nobody is stopped by a file that cannot be written."""

import json
import time
from pathlib import Path

import pytest

from station.bench.transcript import Transcript
from station.bench.transcript_spool import TranscriptSpool
from station.clock import system_clock


def test_the_file_holds_what_was_said(tmp_path):
    transcript = Transcript(system_clock())
    transcript.note("drive", "to", "*IDN?")
    with TranscriptSpool(transcript, tmp_path / "spool", period=0.002):
        for number in range(500):
            transcript.note("drive", "to", f"SPEED {number}")
            transcript.note_block("digitizer", memoryview(bytes(number)))
        while b"SPEED 499" not in (tmp_path / "spool").read_bytes():    # by the thread, not only at the end
            time.sleep(0.002)
        transcript.note("drive", "note", "closed")
    assert (tmp_path / "spool").read_bytes() == transcript.as_json_lines()
    assert json.loads((tmp_path / "spool").read_bytes().splitlines()[-1])["text"] == "closed"


def test_what_the_transcript_leaves_out_stays_in_the_file(tmp_path):
    transcript = Transcript(system_clock(), most=10)
    with TranscriptSpool(transcript, tmp_path / "spool", period=0.001):
        for number in range(60):
            transcript.note("drive", "to", str(number))
            while f'"{number}"'.encode() not in (tmp_path / "spool").read_bytes():
                time.sleep(0.001)
    texts = [json.loads(line)["text"] for line in (tmp_path / "spool").read_bytes().splitlines()]
    assert texts == [str(number) for number in range(60)]


def test_an_earlier_file_is_replaced(tmp_path):
    (tmp_path / "spool").write_text("of another run")
    with TranscriptSpool(Transcript(system_clock()), tmp_path / "spool"):
        pass
    assert (tmp_path / "spool").read_bytes() == b""


@pytest.mark.parametrize("path", ["/dev/full", "/nowhere/spool"])
def test_a_file_that_cannot_be_written_stops_nobody(path):
    transcript = Transcript(system_clock())
    with TranscriptSpool(transcript, Path(path), period=0.001):
        for number in range(20):
            transcript.note("drive", "to", str(number))
            time.sleep(0.001)
    assert transcript.noted == 20


def test_an_error_inside_is_passed_on_after_the_last_words(tmp_path):
    transcript = Transcript(system_clock())

    def fail():
        with TranscriptSpool(transcript, tmp_path / "spool"):
            transcript.note("drive", "to", "last words")
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    assert b"last words" in (tmp_path / "spool").read_bytes()
