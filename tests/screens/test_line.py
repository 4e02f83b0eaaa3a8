"""The line from the scan to the verdict, over the pages, with hands at the simulated fixture."""

import contextlib
import json
import threading
import time

import httpx
import pytest

from station.record.store import Store
from station.screens.access import Role

PATIENCE = 60       # s, of a loaded machine


class Panel:
    """The operator's browser without a browser: follows the stream in a thread."""

    def __init__(self, client):
        self.client, self.seen, self.beats = client, [], 0
        self._thread = threading.Thread(target=self._follow, daemon=True)
        self._thread.start()

    def _follow(self):
        with contextlib.suppress(httpx.HTTPError):      # the client is closed at the end of a test
            self._read()

    def _read(self):
        with self.client.stream("GET", "/line/events") as stream:
            lines, name = [], ""
            for line in stream.iter_lines():
                if line.startswith("event: "):
                    name, lines = line[7:], []
                elif line.startswith("data: "):
                    lines.append(line[6:])
                elif name == "state":
                    self.seen.append("\n".join(lines))
                    name = ""
                elif name == "beat":
                    self.beats += 1
                    name = ""

    def await_word(self, word, after=0):
        end = time.monotonic() + PATIENCE
        while time.monotonic() < end:
            for number, seen in enumerate(self.seen[after:], after):
                if f"</svg>{word}</h1>" in seen:
                    return number
            time.sleep(0.02)
        raise AssertionError(f"no {word} in {[s[:200] for s in self.seen[after:]]}")

    def act(self, *acts):
        for act in acts:
            assert self.client.post("/rig", data={"act": act}).status_code == 303

    def scan(self, text):
        assert self.client.post("/line/scan", data={"text": text}).status_code == 303


@pytest.fixture
def site(fresh_site):
    """A line of each test's own: what was last in the fixture decides what is asked for next."""
    return fresh_site


@pytest.fixture
def address(fresh_address):
    return fresh_address


@pytest.fixture
def panel(asked):
    return Panel(asked(Role.OPERATOR))


def test_one_motor_from_scan_to_verdict_and_the_next(panel, site):
    panel.scan("CP40-0001")
    at = panel.await_word("PRESS START")
    assert "CP40-0001" in panel.seen[at]
    panel.act("start")
    at = panel.await_word("MEASURING", at)
    at = panel.await_word("PASS", at)
    with Store(site.station.store, read_only=True) as store:
        (record,) = store.show("CP40-0001")
    assert (record["verdict"], record["operator"]) == ("PASS", "K. Amsel")
    # The next one is scanned while the last still lies there: its verdict is gone, and the guard must be seen open.
    panel.scan("CP40-0102")
    at = panel.await_word("CHANGE MOTOR", at)
    assert "PASS" not in panel.seen[at]
    panel.act("open")
    time.sleep(0.3)
    panel.act("close")
    at = panel.await_word("PRESS START", at)
    panel.act("start")
    at = panel.await_word("FAIL", at)
    assert "at least" in panel.seen[at] or "at most" in panel.seen[at]
    panel.act("open")
    panel.await_word("SCAN MOTOR", at)


def test_what_cannot_be_tested_is_refused_and_leaves_a_trail(panel, site):
    before = len(site.trail.entries(limit=10_000))
    panel.scan("<b>XX-1</b>")
    at = panel.await_word("NOT ACCEPTED")
    assert "<b>XX" not in panel.seen[at]
    said = [json.loads(body) for _, body in site.trail.entries(before, 100)]
    assert {"what": "scan", "about": "<b>XX-1</b>", "good": False, "who": "K. Amsel"}.items() <= said[-1].items()


def test_a_motor_can_be_given_up_before_the_guard_is_closed(panel, site):
    panel.act("open")
    panel.scan("CP40-0004")
    panel.await_word("CLOSE GUARD")
    panel.client.post("/line/withdraw")
    panel.await_word("STOPPED")
    with Store(site.station.store, read_only=True) as store:
        assert store.show("CP40-0004") == []


def test_a_motor_can_be_given_up_while_start_is_waited_for(panel, site):
    panel.act("close")
    panel.scan("CP40-0001")
    panel.await_word("PRESS START")
    panel.client.post("/line/withdraw")
    panel.await_word("STOPPED")
    with Store(site.station.store, read_only=True) as store:
        record = store.show("CP40-0001")[-1]
    assert (record["verdict"], "given up" in record["reason"]) == ("NO RESULT", True)


def test_a_page_that_is_quiet_hears_a_beat(panel):
    end = time.monotonic() + PATIENCE
    while panel.beats < 3 and time.monotonic() < end:
        time.sleep(0.05)
    assert panel.beats >= 3


def test_a_stream_is_for_those_who_test(asked):
    assert asked().get("/line/events").status_code == 403
    assert asked(Role.AUDITOR).get("/line/events").status_code == 403
