"""Forms that are good once: what a person saw when they were given one, and nobody else's, and not for ever."""

import secrets
from collections import OrderedDict
from dataclasses import dataclass
from threading import Lock

from station.errors import UsageError

KEPT = 200          # forms; the oldest are forgotten first
GOOD_FOR = 1800.0   # s


@dataclass(frozen=True, slots=True)
class Seen:
    """What stood on the page: the draft, what was in force, and the study, each by its SHA-256; "" for none."""

    draft: str
    in_force: str
    study: str


@dataclass(frozen=True, slots=True)
class _Given:
    who: str
    at: float
    seen: Seen


class Forms:
    """Tokens that were given out with a form; each is taken once. Source: ASVS 5.0 3.5.1, synchronizer tokens."""

    def __init__(self) -> None:
        self._lock, self._given = Lock(), OrderedDict[str, _Given]()

    def give(self, who: str, seen: Seen, now: float) -> str:
        """Return a token for `who`, that stands for what they saw; `now` in s, monotonic."""
        token = secrets.token_urlsafe(32)
        with self._lock:
            self._given[token] = _Given(who, now, seen)
            while len(self._given) > KEPT:
                self._given.popitem(last=False)
        return token

    def look(self, token: str, who: str, now: float) -> Seen:
        """Return what the person saw.

        Raises
        ------
        UsageError
            It was taken already, is too old, or was given to somebody else.
        """
        with self._lock:
            return self._good(token, who, now).seen

    def take(self, token: str, who: str, now: float) -> Seen:
        """Return what the person saw, once; errors as `look`."""
        with self._lock:
            found = self._good(token, who, now)
            del self._given[token]
            return found.seen

    def _good(self, token: str, who: str, now: float) -> _Given:
        found = self._given.get(token)
        if found is None or found.who != who or now - found.at > GOOD_FOR:
            raise UsageError("this form was sent already, or is too old", where="release", got="another",
                             expected=f"one that was opened by {who} within {GOOD_FOR / 60:.0f} min",
                             remedy="Open the page again and look whether it was released; if not, send that form.")
        return found
