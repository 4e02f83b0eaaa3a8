"""Handing over beside the tests: a thread that no test waits for, and that is gone within a bounded time."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from threading import Event, Thread
from types import TracebackType
from typing import Self

import numpy as np

from station.certificate.issue import FOLDER
from station.clock import Clock
from station.errors import StationError, UsageError
from station.plant.hand_over import HandOver, Progress
from station.plant.plant_client import QUESTION, SilenceError
from station.plant.refused import AwayError, ForkError
from station.record.schema import DATABASE
from station.record.store import Store

LOOK_AGAIN = 2.0        # s between two looks whether there is something new to hand over
ASK_AGAIN = 300.0       # s after which the plant is asked how it stands, all the same
FIRST_PAUSE = 2.0       # s after a failure; twice as long after each further one
LONGEST_PAUSE = 120.0
LINGER = 5.0            # s that the end of a command waits for what is under way

Tell = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class HandOverState:
    """How handing over stands: how far it has come, and what is in its way."""

    progress: Progress = field(default_factory=Progress)
    silent_since: datetime | None = None    # by the clock of this station: since when the plant does not answer
    trouble: str = ""                       # anything else that a person must see to
    is_fork: bool = False                   # the plant has another log under this name


class ForwardThread:
    """Hands over from entering to leaving the `with` block. Nothing of it is ever raised there: it is told.

    `random` spreads the attempts of many stations over time, when all of them have lost the plant at once.
    """

    def __init__(self, folder: Path, hand_over: HandOver, clock: Clock, tell: Tell,
                 random: np.random.Generator) -> None:
        self._folder, self._hand_over, self._clock, self._tell, self._random = folder, hand_over, clock, tell, random
        self._closing, self._until, self._failures = Event(), 0.0, 0
        self._state, self._seen, self._asked = HandOverState(), (-1, -1), -ASK_AGAIN
        # A daemon: should the name service hang, which no deadline bounds, the program ends all the same.
        self._thread = Thread(target=self._run, name="hand-over", daemon=True)

    @property
    def state(self) -> HandOverState:
        """How it stands now."""
        return self._state

    def __enter__(self) -> Self:
        """Start handing over."""
        self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
                 ) -> None:
        """Let what is new be handed over for a while, if the plant answers, and stop."""
        self._until = self._clock.monotonic() + (LINGER if error is None else 0.0)
        self._closing.set()
        self._thread.join(LINGER + QUESTION)

    def _run(self) -> None:
        try:
            while True:
                is_closing = self._closing.is_set()     # asked before the round, so that the last entry is seen
                if is_closing and self._failures:
                    return
                pause = self._round()
                if is_closing:
                    return
                self._closing.wait(pause)
        except Exception as error:      # whatever is wrong with handing over, tests go on
            self._show(replace(self._state, trouble=f"{type(error).__name__}: {error}"))
            self._tell(f"Handing over has stopped ({type(error).__name__}: {error}). Tests go on and nothing is lost; "
                       "`station plant forward` hands over what waits. Report this as a defect.")

    def _round(self) -> float:
        """Hand over what there is; return for how long nothing is to be done then."""
        try:
            if not self._has_news():
                return LOOK_AGAIN
            progress = self._hand_over.work(self._may_go_on, self._heard)
        except ForkError as error:
            return self._failed(replace(self._state, silent_since=None, trouble=str(error), is_fork=True))
        except (SilenceError, AwayError) as error:
            since = self._state.silent_since
            if since is None:
                self._tell(str(error))
            return self._failed(replace(self._state, silent_since=since or self._clock.utc()))
        except UsageError:      # another process hands over; should it end, this one goes on
            self._show(HandOverState(self._hand_over.progress()))
            self._seen = (-1, -1)
            return LOOK_AGAIN
        except StationError as error:
            return self._failed(replace(self._state, silent_since=None, trouble=str(error)))
        self._failures, self._asked = 0, self._clock.monotonic()
        self._show(HandOverState(progress))
        return LOOK_AGAIN

    def _has_news(self) -> bool:
        """Return whether there is something to hand over, or the plant was not asked for long."""
        if not (self._folder / DATABASE).exists():
            return False
        papers = self._folder / FOLDER
        with Store(self._folder, read_only=True) as store:
            now = len(store.log), papers.stat().st_mtime_ns if papers.is_dir() else 0
        is_new = now != self._seen or self._failures or self._clock.monotonic() - self._asked >= ASK_AGAIN
        self._seen = now
        return bool(is_new)

    def _heard(self, progress: Progress) -> None:
        self._show(HandOverState(progress))

    def _may_go_on(self) -> bool:
        return not self._closing.is_set() or self._clock.monotonic() < self._until

    def _failed(self, state: HandOverState) -> float:
        """Show what is in the way, tell it once, and return how long to wait, longer each time."""
        if state.trouble and state.trouble != self._state.trouble:
            self._tell(state.trouble)
        self._show(state)
        pause = min(FIRST_PAUSE * 2.0**min(self._failures, 10), LONGEST_PAUSE)
        self._failures += 1
        return pause * float(self._random.uniform(0.5, 1.0))

    def _show(self, state: HandOverState) -> None:
        self._state = state
