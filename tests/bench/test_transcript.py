"""station.bench.transcript: everything in order, long texts and blocks by their hash, bounded whatever comes."""

import hashlib
import json
import threading
from datetime import UTC, datetime

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from station.bench.identity import parse_identity
from station.bench.scpi_session import ScpiSession
from station.bench.transcript import MOST_TEXT, Transcript
from station.clock import Clock, system_clock

NOON = datetime(2026, 1, 5, 12, tzinfo=UTC)


def lines_of(transcript):
    return [json.loads(line) for line in transcript.as_json_lines().splitlines()]


def test_every_exchange_is_taken_down(toy):
    codes = np.arange(300, dtype="<i2")
    toy.answers |= {"MEAS?": "1.5", "TRAC?": b"#3600" + codes.tobytes() + b"\n"}
    transcript = Transcript(system_clock())
    identity = parse_identity(toy.answers["*IDN?"], "toy")
    session = ScpiSession("digitizer", toy.resource, identity, system_clock(), 5.0, transcript=transcript)
    session.ask_number("MEAS?")
    session.ask_codes("TRAC?", 300)
    session.close()
    entries = lines_of(transcript)
    assert {entry["role"] for entry in entries} == {"digitizer"}
    said = [(entry["direction"], entry.get("text", entry.get("sha256"))) for entry in entries]
    sha256 = hashlib.sha256(codes.tobytes()).hexdigest()
    queue = [("to", "SYST:ERR?"), ("from", '0,"No error"')]
    assert said == [("note", f"connected to {toy.resource}"), ("to", "*IDN?"), ("from", "PLANT,TOY,T-1,1"), *queue,
                    ("to", "MEAS?"), ("from", "1.5"), *queue, ("to", "TRAC?"), ("from", sha256), *queue,
                    ("note", "closed")]
    assert [entry["bytes"] for entry in entries if "sha256" in entry] == [600]


@given(st.lists(st.text(max_size=2 * MOST_TEXT), max_size=40), st.integers(2, 20))
def test_first_and_last_are_kept_and_the_rest_is_counted(texts, most):
    transcript = Transcript(system_clock(), most)
    for text in texts:
        transcript.note("drive", "to", text)
    entries = lines_of(transcript)
    left_out = sum(entry.get("left_out", 0) for entry in entries)
    kept = [entry for entry in entries if "left_out" not in entry]
    assert len(kept) <= most
    assert len(kept) + left_out == len(texts) == transcript.noted
    half = most // 2
    wanted = texts if len(texts) <= 2 * half else texts[:half] + texts[-half:]
    assert [entry.get("text", "") for entry in kept] == [text[:MOST_TEXT] for text in wanted]
    assert all(("sha256" in entry) == (len(text) > MOST_TEXT) for entry, text in zip(kept, wanted, strict=True))
    times = [entry["monotonic_s"] for entry in kept]
    assert times == sorted(times)


@given(st.lists(st.integers(0, 30), max_size=5), st.integers(60, 200))
def test_what_is_read_while_it_grows_is_everything_and_changes_nothing(parts, most):
    ahead, at_once = (Transcript(Clock(lambda: NOON, lambda: 1.5, lambda _: None), most) for _ in range(2))
    noted, read = 0, []
    for number, part in enumerate(parts):
        for transcript in (ahead, at_once):
            for index in range(part):
                transcript.note("drive", "to", f"{number} {index}")
        noted, lines = ahead.since(noted)
        read += lines
    assert ahead.as_json_lines() == at_once.as_json_lines()
    assert [json.loads(line)["text"] for line in read] == [
        f"{number} {index}" for number, part in enumerate(parts) for index in range(part)]
    ahead.restart()
    assert ahead.as_json_lines() == b""
    assert ahead.since(0) == (0, [])


def test_threads_take_down_everything_in_order():
    transcript = Transcript(system_clock())
    threads = [threading.Thread(target=lambda role=role: [transcript.note(role, "to", str(i)) for i in range(500)])
               for role in ("drive", "guard", "supply")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    entries = lines_of(transcript)
    assert [entry["monotonic_s"] for entry in entries] == sorted(entry["monotonic_s"] for entry in entries)
    for role in ("drive", "guard", "supply"):
        assert [entry["text"] for entry in entries if entry["role"] == role] == [str(i) for i in range(500)]


def test_restart_forgets_the_run_before():
    transcript = Transcript(system_clock(), 4)
    for i in range(9):
        transcript.note("drive", "to", str(i))
    transcript.restart()
    transcript.note("drive", "to", "new")
    assert [entry["text"] for entry in lines_of(transcript)] == ["new"]
