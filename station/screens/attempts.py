"""How often a sign-in may be tried, and how many at once, so that nobody tries passwords by the thousand.

Counted by computer and by name. Names are counted apart at the panel and elsewhere: who tries from another computer
locks nobody out of the station itself. Source: ASVS 5.0 6.1.1 and 6.3.1, from memory.
"""

from collections import OrderedDict, deque
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from threading import Lock, Semaphore

from station.errors import NotAllowedError

REMEMBERED = 4096       # whose tries are counted; the oldest are forgotten first


class PatienceError(NotAllowedError):
    """Tried too often, or by too many at once; it may be tried again later."""


@dataclass(frozen=True, slots=True)
class Source:
    """Where tries come from, and how many of them may fail within so many seconds."""

    name: str
    most: int
    within_s: float


def by_computer(where: str) -> Source:
    """Return the source of tries with a password from one computer."""
    return Source(f"computer {where}", 10, 60.0)


def by_name(name: str, *, at_panel: bool) -> Source:
    """Return the source of tries for one name, however it is spaced and in whatever case."""
    return Source(f"name {' '.join(name.split()).casefold()}, {'here' if at_panel else 'elsewhere'}", 10, 300.0)


def by_badge(where: str) -> Source:
    """Return the source of badges read at one computer while nobody is signed in; scanners read motors, too."""
    return Source(f"badges at {where}", 30, 60.0)


class Attempts:
    """Tries that failed or are under way; a try counts as failed until it is known better."""

    def __init__(self) -> None:
        self._lock, self._when = Lock(), OrderedDict[str, deque[float]]()

    def begin(self, now: float, *sources: Source) -> None:
        """Count a try at `now`, s, from each source in turn; PatienceError at the first that is used up."""
        with self._lock:
            for source in sources:
                when = self._when.setdefault(source.name, deque())
                self._when.move_to_end(source.name)
                while when and now - when[0] > source.within_s:
                    when.popleft()
                if len(when) >= source.most:
                    raise PatienceError("too many failed sign-ins", where=source.name.split(" ", 1)[0],
                                        expected=f"at most {source.most} in {source.within_s:.0f} s", got="more",
                                        remedy="Wait some minutes, then try again.")
                when.append(now)
            while len(self._when) > REMEMBERED:
                self._when.popitem(last=False)

    def forgive(self, *sources: Source) -> None:
        """Take back the try that was counted last from each source: it succeeded."""
        with self._lock:
            for source in sources:
                if when := self._when.get(source.name):
                    when.pop()


class Turns:
    """Lets a few do something costly at once and a few more wait; whoever comes then is turned away, not queued."""

    def __init__(self, at_once: int, waiting: int) -> None:
        self._turns, self._lock, self._inside, self._most = Semaphore(at_once), Lock(), 0, at_once + waiting

    @contextmanager
    def taken(self) -> Iterator[None]:
        """Wait for a turn, and have it within; PatienceError when too many wait already."""
        with self._lock:
            if self._inside >= self._most:
                raise PatienceError("too many sign in at once", where="sign in", expected=f"at most {self._most}",
                                    got="more", remedy="Try again in a few seconds.")
            self._inside += 1
        try:
            with self._turns:
                yield
        finally:
            with self._lock:
                self._inside -= 1
