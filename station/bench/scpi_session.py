"""One conversation with one instrument: owner thread, deadline, identity, error queue, recovery."""

import math
from collections.abc import Callable
from typing import TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from station.bench.block import INT16_LITTLE, CodeForm
from station.bench.identity import Identity
from station.bench.owner import Owner, connection_broke, given_up, no_reply, open_deadline
from station.bench.speech import POWER_ON, Speech, parse_number
from station.bench.transcript import Direction, Transcript
from station.bench.visa import BAUD, Wire
from station.clock import Clock
from station.errors import BenchError, BenchNotFitError, InstrumentError, NoReplyError

QUEUE_CAP = 33           # entries; an instrument that never says "no error" is itself faulty
BLOCK_RATE = 2e6         # bytes/s, the slowest wire that a block's deadline allows for
HEADER_CAP = 120         # bytes of a header before a block

Answer = TypeVar("Answer")
Work = Callable[[Wire, float], Answer]
Parse = Callable[[str], float | None]   # answer -> number; None when it is none


class ScpiSession:
    """Speaks with one instrument; every method may be called from any thread.

    All exchanges run in one owner thread, so answers cannot be mixed up, and a stop of one instrument never
    waits for another. An exchange has one deadline. After a missed deadline or any doubt about framing the
    connection is thrown away: the next answer on it could belong to an earlier question. `expected` None takes
    whoever answers, for an instrument that no bench file names yet.
    """

    def __init__(self, role: str, resource: str, expected: Identity | None, clock: Clock, deadline: float,
                 speech: Speech | None = None, transcript: Transcript | None = None, baud: int = BAUD) -> None:
        self.role, self.resource, self.expected, self.deadline = role, resource, expected, deadline
        self._clock, self.speech = clock, speech or Speech()
        self._transcript, self._baud = transcript, baud
        self._wire: Wire | None = None
        self._owner = Owner(role)
        self.was_identified = False

    def identify(self) -> Identity:
        """Ask who answers; raise BenchNotFitError unless it is the instrument of the bench file.

        Work begins with this: a connection that was closed, or is out of step, while nothing went on is opened afresh;
        errors and a restart before now are history.
        """
        def work(wire: Wire, until: float) -> Identity:
            identity = self._identify(wire, until)
            self._drain(wire, until)
            self._forget_restart(wire, until)
            return identity
        used = self._wire is not None
        self._owner.after_that(self._forget_doubtful)
        try:
            return self._run(self.speech.identify, work, self.deadline)
        except (NoReplyError, BenchNotFitError):
            raise
        except BenchError:      # the answer to an earlier question, perhaps: a fresh connection knows none
            if not used:
                raise
            return self._run(self.speech.identify, work, self.deadline)

    def command(self, *lines: str) -> None:
        """Send `lines` as one group, then drain the error queue; InstrumentError names every entry."""
        def work(wire: Wire, until: float) -> None:
            for line in lines:
                self._order(wire, line, until)
            self._raise_errors(wire, until, lines)
        self._run("; ".join(lines), work, self.deadline + self.speech.pause * len(lines))

    def ask(self, line: str, deadline: float | None = None) -> str:
        """Return the answer to `line`, after checking that the error queue stayed empty."""
        def work(wire: Wire, until: float) -> str:
            answer = self._query(wire, line, until)
            self._raise_errors(wire, until, (line,))
            return answer
        return self._run(line, work, deadline or self.deadline)

    def ask_number(self, line: str, deadline: float | None = None, parse: Parse = parse_number) -> float:
        """Return the answer as a number; over range is inf, a number that is none raises BenchError."""
        answer = self.ask(line, deadline)
        number = parse(answer)
        if number is None:
            self._run("close", lambda _wire, _until: self._drop(), self.deadline)
            raise self._doubt(f"the answer to {line} is no number", "a number", repr(answer))
        if math.isnan(number):
            raise BenchError("the instrument could not measure", where=self._where(), expected="a number",
                             got=f"not a number ({answer}) for {line}",
                             remedy="Check leads, contacts and range, then test again.", code="no_reading")
        return number

    def ask_finite(self, line: str, deadline: float | None = None, parse: Parse = parse_number) -> float:
        """Return the answer as a finite number; over range raises BenchError."""
        number = self.ask_number(line, deadline, parse)
        if not math.isfinite(number):
            raise BenchError("the reading is over range", where=self._where(), expected="a finite number",
                             got=f"over range for {line}", remedy="Check leads and contacts, then test again.",
                             code="no_reading")
        return number

    def ask_codes(self, line: str, count: int, tail: str = "\n", form: CodeForm = INT16_LITTLE) -> NDArray[np.int16]:
        """Return the definite block that answers `line`: exactly `count` codes of `form`, as (count,) int16."""
        def work(wire: Wire, until: float) -> NDArray[np.int16]:
            self._write(wire, line, until)
            self._check_block_head(wire, form.width * count, until)
            codes = self._receive_codes(wire, count, form, until)
            if wire.receive_exactly(len(tail), until) != tail.encode("ascii"):
                raise self._doubt("the block does not end where it should", f"{tail!r} after it", "something else")
            self._raise_errors(wire, until, (line,))
            return codes
        # Ten bits carry a byte of a serial line; half of that speed is allowed for its pauses.
        rate = min(BLOCK_RATE, self._baud / 20) if self.resource.startswith("ASRL") else BLOCK_RATE
        return self._run(line, work, self.deadline + form.width * count / rate)

    def require_unrestarted(self) -> None:
        """Raise BenchError when the instrument's power failed since connecting: its settings and outputs are lost.

        Nothing is asked of one that nobody has spoken to, or that cannot tell.
        """
        def work(wire: Wire, until: float) -> None:
            answer = self._query(wire, self.speech.event_status, until)
            if not answer.isdigit():
                raise self._doubt("this is no event status", "a whole number", repr(answer))
            if int(answer) & POWER_ON:
                raise BenchError("the instrument has restarted", where=self._where(), expected="power all the while",
                                 got="the power-on bit", remedy="Its outputs and settings are unknown: see that all is "
                                 "off and at rest, look to its mains lead, then test again.", code="restarted")
        if self._wire is not None and self.speech.event_status:
            self._run(self.speech.event_status, work, self.deadline)

    def drain_errors(self) -> tuple[str, ...]:
        """Empty the instrument's error queue and return its entries, oldest first."""
        return self._run(self.speech.errors, self._drain, self.deadline)

    def self_test(self, deadline: float) -> str | None:
        """Run the instrument's own test; None when it passed, else the instrument's answer."""
        answer = self.ask(self.speech.self_test, deadline)
        return None if parse_number(answer) == 0 else answer

    def give_up(self) -> None:
        """Break off the exchange under way and those behind it, from any thread; the next one connects afresh."""
        self._owner.give_up()
        wire = self._wire
        if wire is not None:
            wire.shut()

    def close(self) -> None:
        """Close the connection and end the owner thread."""
        self._owner.end(self._drop)

    # Everything below runs in the owner thread, except _run, which hands the work over.

    def _run(self, line: str, work: Work[Answer], seconds: float) -> Answer:
        # Opening, the exchange and the reopening each have their deadline; this one is for a wedged thread.
        return self._owner.do(lambda is_wanted: self._exchange(line, work, seconds, is_wanted),
                              seconds + 3 * self.deadline + 1.0,
                              lambda: no_reply(self._where(), line, seconds, "an owner thread that is still busy"))

    def _exchange(self, line: str, work: Work[Answer], seconds: float, is_wanted: Callable[[], bool]) -> Answer:
        try:
            self._require_wanted(line, is_wanted)
            wire = self._usable() or self._open(line)
            self._require_wanted(line, is_wanted)   # connecting takes a while
            until = self._clock.monotonic() + seconds
            self._require_in_step(wire)
            return work(wire, until)
        except NoReplyError:
            raise
        except TimeoutError as error:
            self._note("note", f"no reply within {seconds:g} s")
            raise no_reply(self._where(), line, seconds, self._reopen()) from error
        except OSError as error:
            self._note("note", f"connection broke: {error}")
            self._drop()
            raise connection_broke(self._where(), line, error) from error
        except (InstrumentError, BenchNotFitError):
            raise
        except BaseException:
            self._drop()
            raise

    def _usable(self) -> Wire | None:
        if self._wire is not None and self._wire.is_shut:
            self._drop()
        return self._wire

    def _require_wanted(self, line: str, is_wanted: Callable[[], bool]) -> None:
        if not is_wanted():
            raise given_up(self._where(), line)

    def _open(self, line: str) -> Wire:
        try:
            self._connect()  # error entries of an earlier user are not ours
        except TimeoutError as error:  # no second try here: another instrument may wait for its stop
            self._drop()
            raise no_reply(self._where(), line, open_deadline(self.deadline), "silence when connecting") from error
        return cast(Wire, self._wire)

    def _reopen(self) -> str:
        """Reopen after silence, and return what the instrument then says, for the error's text."""
        try:
            entries = self._connect()
        except (OSError, BenchError):
            self._drop()
            return "silence, also after reopening"
        return "silence; its error queue held " + ("; ".join(entries) or "nothing")

    def _connect(self) -> tuple[str, ...]:
        """Connect afresh, check the identity, and return what the error queue held."""
        self._drop()
        until = self._clock.monotonic() + open_deadline(self.deadline)
        self._wire = Wire(self.resource, self._clock.monotonic, until, self._baud)
        self._note("note", f"connected to {self.resource}")
        self._identify(self._wire, until)
        inherited = self._drain(self._wire, until)
        self._forget_restart(self._wire, until)
        self._initialise(self._wire, until)
        return inherited

    def _initialise(self, wire: Wire, until: float) -> None:
        try:
            for line in self.speech.init:
                self._order(wire, line, until)
            if self.speech.init:
                self._raise_errors(wire, until, self.speech.init)
        except InstrumentError:
            self._drop()    # else the next exchange would go on without the settings
            raise

    def _forget_restart(self, wire: Wire, until: float) -> None:
        if self.speech.event_status:
            self._query(wire, self.speech.event_status, until)

    def _drop(self) -> None:
        if self._wire is not None:
            self._wire.close()
            self._wire = None
            self._note("note", "closed")

    def _identify(self, wire: Wire, until: float) -> Identity:
        identity = self.speech.identity_in(self._query(wire, self.speech.identify, until), self._where())
        if self.expected is not None:
            self._require_expected(identity, self.expected)
        self.was_identified = True
        return identity

    def _require_expected(self, identity: Identity, expected: Identity) -> None:
        try:
            identity.require(expected, self.role, self._where())
        except BenchNotFitError:
            self._drop()
            raise

    def _forget_doubtful(self) -> None:
        if self._wire is None:
            return
        try:
            if self._wire.has_unread():
                self._drop()
        except OSError:
            self._drop()

    def _require_in_step(self, wire: Wire) -> None:
        if wire.has_unread():
            raise self._doubt("the instrument sent more than was asked for", "nothing unread", "unread bytes")

    def _order(self, wire: Wire, line: str, until: float) -> None:
        """Send a command, of one or several lines, and read what each is acknowledged with."""
        for part in line.split("\n"):
            self._send(wire, part, until)
            if self.speech.pause:
                self._clock.pause(self.speech.pause)
            if not self.speech.acknowledge:
                continue
            answer = self._receive(wire, until)
            if answer.decode("ascii", "replace").strip() != self.speech.acknowledge:
                raise self._doubt(f"{part} is not acknowledged", repr(self.speech.acknowledge), repr(answer[:40]))

    def _write(self, wire: Wire, line: str, until: float) -> None:
        """Send a question; commands may precede it on lines of their own."""
        commands, _, question = line.rpartition("\n")
        if commands:
            self._order(wire, commands, until)
        self._send(wire, question, until)

    def _send(self, wire: Wire, line: str, until: float) -> None:
        self._note("to", line)
        wire.send(self.speech.framed(line), until)

    def _receive(self, wire: Wire, until: float) -> bytes:
        answer = wire.receive_line(until)
        self._note("from", answer.decode("ascii", "backslashreplace"))
        return answer

    def _query(self, wire: Wire, line: str, until: float) -> str:
        self._write(wire, line, until)
        answer = self._receive(wire, until)
        if not answer.isascii():
            raise self._doubt(f"the answer to {line} is no text", "ASCII", repr(answer[:40]))
        if not answer.strip():
            raise self._doubt(f"the answer to {line} is empty", "an answer", repr(answer))
        plain = self.speech.plain(line, answer.decode("ascii").strip())
        if plain is None:
            raise self._doubt(f"the answer to {line} has not its header", "its header before it", repr(answer[:40]))
        return plain

    def _drain(self, wire: Wire, until: float) -> tuple[str, ...]:
        entries: list[str] = []
        while self.speech.errors and len(entries) < QUEUE_CAP:
            entry = self._query(wire, self.speech.errors, until)
            code, comma, text = entry.partition(",")
            if not comma or not text.strip().startswith('"') or not code.strip().lstrip("+-").isdigit():
                raise self._doubt("this is no entry of an error queue", 'a number and "text"', repr(entry))
            if int(code) == 0:
                return tuple(entries)
            entries.append(entry)
        if not self.speech.errors:
            return ()
        raise InstrumentError("the error queue never ends", where=self._where(), expected="0 at last",
                              got="; ".join(entries),
                              remedy="Restart the instrument; replace it if that does not help.")

    def _raise_errors(self, wire: Wire, until: float, lines: tuple[str, ...]) -> None:
        entries = self._drain(wire, until)
        if entries:
            raise InstrumentError("the instrument refused", where=self._where(),
                                  expected="no error after " + "; ".join(lines), got="; ".join(entries),
                                  remedy="Find what it refuses: guard, START, range or dialect file.")

    def _check_block_head(self, wire: Wire, size: int, until: float) -> None:
        mark = wire.receive_exactly(1, until)
        if self.speech.headers:
            mark = self._skip_header(wire, mark, until)
        digits = wire.receive_exactly(1, until)
        if mark != b"#" or digits not in b"123456789":
            raise self._doubt("this is no definite block", "# and a digit", repr(mark + digits))
        length = wire.receive_exactly(int(digits), until)
        if not length.isdigit() or int(length) != size:
            raise self._doubt("the block has the wrong length", f"{size} bytes", repr(length))

    def _receive_codes(self, wire: Wire, count: int, form: CodeForm, until: float) -> NDArray[np.int16]:
        if form.width == 1:
            content = wire.receive_exactly(count, until)
            self._note_block(memoryview(content))
            return form.widened(content)
        codes = wire.receive_codes(count, until)
        self._note_block(codes.data)
        return codes if form.wire_type == INT16_LITTLE.wire_type else codes.byteswap(inplace=True)

    def _note(self, direction: Direction, text: str) -> None:
        if self._transcript is not None:
            self._transcript.note(self.role, direction, text)

    def _note_block(self, content: memoryview) -> None:
        if self._transcript is not None:
            self._transcript.note_block(self.role, content)

    def _skip_header(self, wire: Wire, read: bytes, until: float) -> bytes:
        while not read.endswith(b"#") and len(read) < HEADER_CAP:
            read += wire.receive_exactly(1, until)
        if not read.isascii() or self.speech.plain("", read.decode("ascii")) != "#":
            raise self._doubt("the block has no header", "a header and #", repr(read))
        return b"#"

    def _where(self) -> str:
        return f"{self.role} at {self.resource}"

    def _doubt(self, what: str, expected: str, got: str) -> BenchError:
        return BenchError(what, where=self._where(), expected=expected, got=got,
                          remedy="The connection is opened afresh; test again. If it recurs, check the dialect.")
