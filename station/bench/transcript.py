"""What was said during a run: every exchange with every instrument, in order, bounded in size."""

import hashlib
import json
from collections import deque
from dataclasses import dataclass
from itertools import islice
from threading import Lock
from typing import Literal

from station.clock import Clock, stamp

Direction = Literal["to", "from", "note"]    # to the instrument, from it, or what became of the connection

MOST_ENTRIES = 40_000   # of a run; a minute of polling at full speed makes about that many
MOST_TEXT = 512         # characters of one entry kept as text


@dataclass(frozen=True, slots=True)
class _Entry:
    utc: str
    monotonic: float
    role: str
    direction: Direction
    text: str
    size: int
    sha256: str     # of blocks and of texts too long to keep

    def as_line(self) -> str:
        entry: dict[str, str | float | int] = {"utc": self.utc, "monotonic_s": round(self.monotonic, 6),
                                               "role": self.role, "direction": self.direction}
        if self.text:
            entry["text"] = self.text
        if self.sha256:
            entry |= {"bytes": self.size, "sha256": self.sha256}
        return json.dumps(entry, ensure_ascii=True)


class Transcript:
    """Takes down exchanges from any thread; when it is full, those in the middle are left out and counted.

    The first and the last exchanges are kept: how the bench was set up, and what went before the end.
    """

    def __init__(self, clock: Clock, most: int = MOST_ENTRIES) -> None:
        self._clock, self._half = clock, max(1, most // 2)
        self._lock = Lock()
        self._first: list[_Entry] = []
        self._lines: list[str] = []     # as many of the first as have been written out
        self._last: deque[_Entry] = deque(maxlen=self._half)
        self._noted = 0

    def note(self, role: str, direction: Direction, text: str) -> None:
        """Take down one line of text; of a long one its beginning, length and SHA-256."""
        if len(text) <= MOST_TEXT:
            self._add(role, direction, text, 0, "")
        else:
            content = text.encode("utf-8", "backslashreplace")
            self._add(role, direction, text[:MOST_TEXT], len(content), hashlib.sha256(content).hexdigest())

    def note_block(self, role: str, content: memoryview) -> None:
        """Take down a block from an instrument by length and SHA-256 of its bytes."""
        self._add(role, "from", "", content.nbytes, hashlib.sha256(content).hexdigest())

    def restart(self) -> None:
        """Forget everything: a run begins."""
        with self._lock:
            self._first, self._lines, self._noted = [], [], 0
            self._last.clear()

    @property
    def noted(self) -> int:
        """How many exchanges were taken down since the start, those left out included."""
        return self._noted

    def since(self, start: int) -> tuple[int, list[str]]:
        """Return how many exchanges were noted, and those from number `start` on, counted from 0, as JSON.

        From any thread. Called often enough, it leaves out none and `as_json_lines` little to do.
        """
        with self._lock:
            self._write_out()
            later = max(0, start - (self._noted - len(self._last)))
            return self._noted, self._lines[start:] + [entry.as_line() for entry in islice(self._last, later, None)]

    def _write_out(self) -> None:
        self._lines += [entry.as_line() for entry in self._first[len(self._lines):]]

    def as_json_lines(self) -> bytes:
        """Return one JSON object a line, in order; a line with "left_out" stands where exchanges are missing."""
        with self._lock:
            self._write_out()
            lines = list(self._lines)
            left_out = self._noted - len(self._first) - len(self._last)
            if left_out:
                lines.append(json.dumps({"left_out": left_out}))
            lines += [entry.as_line() for entry in self._last]
        return "".join(line + "\n" for line in lines).encode("ascii")

    def _add(self, role: str, direction: Direction, text: str, size: int, sha256: str) -> None:
        with self._lock:    # the clock is read inside, so that the times stand in order
            entry = _Entry(stamp(self._clock.utc()), self._clock.monotonic(), role, direction, text, size, sha256)
            self._noted += 1
            if len(self._first) < self._half:
                self._first.append(entry)
            else:
                self._last.append(entry)
