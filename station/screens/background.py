"""What takes longer than a page may: computed beside the pages, one at a time, its outcome kept for a while."""

import sys
import traceback
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from threading import Lock, Thread
from typing import Any

from station.errors import StationError
from station.screens.attempts import PatienceError

KEPT = 32       # outcomes; the oldest are forgotten first


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a computation: at work still, a result, or why there is none."""

    key: str
    who: str
    at: str                 # when it was begun, as `station.clock.stamp` writes it
    is_running: bool = True
    result: Any = None
    error: StationError | None = None


class Background:
    """At most one computation at a time, for all who ask; so many outcomes are kept, the newest."""

    def __init__(self, kept: int = KEPT) -> None:
        self._kept = kept
        self._lock = Lock()
        self._outcomes: OrderedDict[str, Outcome] = OrderedDict()

    def start(self, key: str, work: Callable[[], Any], *, who: str, at: str) -> None:
        """Begin `work`, whose outcome stands under `key`; nothing happens while the same is being computed already.

        Raises
        ------
        PatienceError
            Something else is being computed.
        """
        with self._lock:
            running = self._running()
            if running is not None and running.key == key:
                return
            if running is not None:
                raise PatienceError("something else is being computed", where=key, expected="one at a time",
                                    got=f"{running.key}, begun by {running.who} at {running.at}",
                                    remedy="Wait until it is done; it goes on without you.")
            self._keep(Outcome(key, who, at))
        Thread(target=self._carry_out, args=(Outcome(key, who, at), work), name=key, daemon=True).start()

    def outcome(self, key: str) -> Outcome | None:
        """Return what is known under `key`, None where nothing was begun or it was forgotten."""
        with self._lock:
            return self._outcomes.get(key)

    def running(self) -> Outcome | None:
        """Return what is being computed, None while nothing is."""
        with self._lock:
            return self._running()

    def forget(self, key: str) -> None:
        """Forget what is known under `key`, so that it can be begun anew; what is at work goes on and is kept."""
        with self._lock:
            found = self._outcomes.get(key)
            if found is not None and not found.is_running:
                del self._outcomes[key]

    def _running(self) -> Outcome | None:
        return next((one for one in self._outcomes.values() if one.is_running), None)

    def _carry_out(self, begun: Outcome, work: Callable[[], Any]) -> None:
        result, error = None, None
        try:
            result = work()
        except StationError as found:
            error = found
        except Exception as found:      # the thread ends here, so nobody else would tell
            sys.stderr.write(f"{begun.key}\n{''.join(traceback.format_exception(found))}")
            error = StationError("the program made a mistake", where=begun.key, expected="a result", got="none",
                                 remedy="Nothing is lost. Tell whoever looks after the station.")
        with self._lock:
            self._keep(Outcome(begun.key, begun.who, begun.at, False, result, error))

    def _keep(self, outcome: Outcome) -> None:
        self._outcomes[outcome.key] = outcome
        self._outcomes.move_to_end(outcome.key)
        while len(self._outcomes) > self._kept:
            self._outcomes.popitem(last=False)
