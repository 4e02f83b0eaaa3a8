"""What a running test tells whoever watches: a step begins, a speed is reached, a value is known."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

NoticeKind = Literal["step", "wait", "speed", "value", "note"]


@dataclass(frozen=True, slots=True)
class Notice:
    """One line of progress: what it is about, in words, with a number where there is one."""

    kind: NoticeKind
    text: str


Watch = Callable[[Notice], None]


def unwatched(_notice: Notice) -> None:
    """Watch nothing: for runs that nobody looks at."""
