"""The line: motors tested one after the other in a thread of its own, whoever looks on, or no longer does."""

import threading
from collections.abc import Callable
from concurrent.futures import CancelledError, Future
from contextlib import AbstractContextManager, suppress
from dataclasses import dataclass, replace
from queue import Empty, Queue
from typing import Any, Protocol

from station.bench.roles import Colour, GuardState
from station.clock import Clock
from station.errors import StationError, StoppedError
from station.record.statement import Statement
from station.record.store import Store
from station.screens.line_state import (
    LineState,
    Order,
    after_notice,
    asked_for,
    at_rest,
    checked,
    ended,
    refused,
    stopped_by,
)
from station.screens.refusal import RefusedError, refusal_of
from station.screens.standing import Standing
from station.sequence.progress import Notice
from station.sequence.runs_gate import FurtherRun

LOOK = 0.2              # s between looks at the guard while nothing is tested
LOOK_AROUND = 4.0       # s between looks at the station itself: calibrations, reference checks, queue
REST = 240.0            # s that somebody waits for the end of a test to write to the store
ENTER = 60.0            # s between portions of the trail at rest: tables of tests are made anew for each new head


Writing = Callable[[Store], Statement]      # what writes to the store, and returns what was entered


class Tester(Protocol):
    """What tests the motors of this station: an open workplace."""

    def order(self, serial: str, further: FurtherRun | None) -> Order:
        """Return what a motor would be tested by, or raise StationError if it cannot be."""

    def guard(self) -> GuardState:
        """Read the guard."""

    def said(self, since: int) -> tuple[int, list[str]]:
        """Return what was said to the instruments; see `Transcript.since`. From any thread."""

    def standing(self) -> Standing:
        """Return how the station itself stands, and why nothing may be tested if it may not."""

    def enter_trail(self) -> None:
        """Enter into the log what people have done since; see `Trail.enter`."""

    def fails_in_a_row(self) -> int:
        """Return how many motors failed one after the other, as the store has it; asked once, at the beginning."""

    def light(self, lamps: frozenset[Colour]) -> bool:
        """Light these lamps of the stack light; see `Guard.light`. From any thread."""

    def write(self, work: Writing) -> Statement:
        """Let `work` write to the store, which nobody else can open for writing."""

    def test(self, order: Order, operator: str, watch: Callable[[Notice], None], go_on: Callable[[], None],
             further: FurtherRun | None) -> dict[str, Any]:
        """Test one motor and return its record as stored; `go_on` raises once nobody waits for the motor any more.

        For an order with references, check them and return the reference check as stored.
        """


@dataclass(frozen=True, slots=True)
class _Asked:
    order: Order
    operator: str
    further: FurtherRun | None


class Line:
    """Opens a tester in a thread and works it there; `state` tells how it stands, its `number` grows with each change.

    `order` and `said` of the tester are asked from any thread; everything else in the one that opened it.
    """

    def __init__(self, opened: Callable[[], AbstractContextManager[Tester]], clock: Clock, most_fails: int = 0) -> None:
        self._opened, self._clock, self._most_fails = opened, clock, most_fails
        self._ready: Future[Tester] = Future()
        self._asked: Queue[_Asked] = Queue(1)
        self._writings: Queue[tuple[Writing, Future[Statement]]] = Queue()
        self._written = 0       # odd while something is being written, see `_write`
        self._lock, self._leaving, self._withdrawn = threading.Lock(), threading.Event(), threading.Event()
        self._state, self._looked, self._entered = LineState(), -LOOK_AROUND, -ENTER
        self._thread = threading.Thread(target=self._work, name="line")

    def __enter__(self) -> "Line":
        """Begin to work; whatever keeps the tester from being opened is raised here."""
        self._thread.start()
        self._ready.result()
        return self

    def __exit__(self, *_trouble: object) -> None:
        """Take no more motors; the one under test is finished first."""
        self._leaving.set()
        self._withdrawn.set()
        self._thread.join()

    @property
    def state(self) -> LineState:
        """How the line stands now."""
        with self._lock:
            return self._state

    def said(self, since: int) -> tuple[int, list[str]]:
        """Return how many exchanges with instruments the run has had, and those from number `since` on as JSON."""
        return self._ready.result().said(since)

    def light(self, lamps: frozenset[Colour]) -> bool:
        """Light these lamps of the stack light; see `Guard.light`."""
        return self._ready.result().light(lamps)

    def arm(self, serial: str, operator: str, further: FurtherRun | None = None) -> Order:
        """Ask for a test; START at the guard begins it, never this. Return what it will be tested by.

        Raises
        ------
        RefusedError
            Another motor is under test, or waited for; limits are just being put in force; or too many failed one after
            the other, and nobody looked.
        StationError
            This one cannot be tested: unknown type, runs used, calibration or reference check overdue.
        """
        if self.state.is_busy:
            raise RefusedError("busy", serial, other=self.state.serial)
        written = self._written
        order = self._ready.result().order(serial, further)
        with self._lock:
            if self._state.is_busy:
                raise RefusedError("busy", serial, other=self._state.serial)
            if written % 2 or written != self._written:     # the order may be by limits that are no longer in force
                raise RefusedError("writing", serial)
            if self.is_locked_by_fails(self._state) and not order.references:
                raise RefusedError("fails", serial, count=str(self._state.fails))
            self._withdrawn.clear()
            self._state = replace(asked_for(self._state, order, operator), number=self._state.number + 1)
        self._asked.put(_Asked(order, operator, further))
        return order

    def refuse(self, trouble: StationError) -> None:
        """Show why what was scanned is not tested; a motor that is waited for or tested comes first."""
        self._change(lambda state: refused(state, trouble))

    def is_locked_by_fails(self, state: LineState) -> bool:
        """Return whether so many motors failed one after the other that the bench itself is in doubt."""
        return 0 < self._most_fails <= state.fails

    def unlock(self) -> None:
        """Go on after many failures: an engineer has looked why."""
        self._change(lambda state: replace(state, fails=0))

    def withdraw(self) -> None:
        """Give up a motor that is waited for; one whose shaft may turn already is stopped by its guard alone."""
        self._withdrawn.set()

    def between_tests(self, work: Writing, patience: float = REST) -> Statement:
        """Let `work` write to the store while no motor is waited for or tested, and return what it returns.

        From any thread. Motors that are scanned meanwhile are refused.

        Raises
        ------
        StationError
            As `work` raised it; or motors were tested for `patience`, s, without a pause, and nothing was written.
        """
        done: Future[Statement] = Future()
        self._writings.put((work, done))
        try:
            return done.result(patience)
        except (TimeoutError, CancelledError) as error:
            if not done.cancel() and not done.cancelled():      # it has begun, and comes to an end
                return done.result()
            raise StationError("the line had no pause", where="line", expected=f"one within {patience:.0f} s",
                               got="tests one after the other, or its end", remedy="Nothing was written. Repeat it "
                               "when the line rests.") from error

    def _work(self) -> None:
        try:
            with self._opened() as tester:
                with suppress(StationError):    # who unlocked the line shortly before the last end is to be counted
                    self._enter_trail(tester)
                self._state = replace(self._state, fails=tester.fails_in_a_row())
                self._ready.set_result(tester)
                while not self._leaving.is_set():
                    self._write(tester)
                    try:
                        asked = self._asked.get(timeout=LOOK)
                    except Empty:
                        self._look(tester)
                        continue
                    self._test(tester, asked)
                self._give_up_writing()
                with suppress(StationError):    # what is not entered now is entered at the next start
                    tester.enter_trail()
        except BaseException as error:
            if self._ready.done():
                raise
            self._ready.set_exception(error)

    def _look(self, tester: Tester) -> None:
        """See guard and fitness while nothing is tested, so that pages tell them before a motor is scanned."""
        try:
            guard, standing = tester.guard(), self.state.standing
            if self._clock.monotonic() - self._looked >= LOOK_AROUND:
                standing, self._looked = tester.standing(), self._clock.monotonic()
                self._enter_trail(tester)
        except StationError as error:
            guard, standing = None, Standing(locked=refusal_of(error))
            self._looked = self._clock.monotonic() - LOOK_AROUND
        self._change(lambda state: at_rest(state, guard, standing))

    def _write(self, tester: Tester) -> None:
        """Carry out what waits to write to the store, unless a motor was scanned before."""
        if self._writings.empty():
            return
        with self._lock:
            if self._state.is_busy:
                return
            self._written += 1
        try:
            while True:
                work, done = self._writings.get_nowait()
                if done.set_running_or_notify_cancel():
                    _carry_out(tester, work, done)
        except Empty:
            pass
        finally:
            with self._lock:
                self._written += 1

    def _give_up_writing(self) -> None:
        with suppress(Empty):
            while True:
                self._writings.get_nowait()[1].cancel()

    def _enter_trail(self, tester: Tester) -> None:
        if self._clock.monotonic() - self._entered >= ENTER:
            tester.enter_trail()
            self._entered = self._clock.monotonic()

    def _test(self, tester: Tester, asked: _Asked) -> None:
        try:
            record = tester.test(asked.order, asked.operator, self._heard, self._go_on, asked.further)
        except StationError as error:
            told = error
            self._change(lambda state: stopped_by(state, told))
        else:
            self._change(lambda state: (checked if asked.order.references else ended)(state, record))
        finally:
            self._looked, self._entered = self._clock.monotonic() - LOOK_AROUND, self._clock.monotonic() - ENTER

    def _heard(self, notice: Notice) -> None:
        now = self._clock.monotonic()
        self._change(lambda state: after_notice(state, notice, now))

    def _go_on(self) -> None:
        if self._withdrawn.is_set():
            raise StoppedError("given up", where=self.state.serial, expected="the motor in the fixture",
                               got="another wish", remedy="Scan the next motor.", code="given_up")

    def _change(self, change: Callable[[LineState], LineState]) -> None:
        with self._lock:
            changed = change(self._state)
            if changed != self._state:
                self._state = replace(changed, number=self._state.number + 1)


def _carry_out(tester: Tester, work: Writing, done: Future[Statement]) -> None:
    try:
        done.set_result(tester.write(work))
    except BaseException as error:      # whoever waits for it is told
        done.set_exception(error)
