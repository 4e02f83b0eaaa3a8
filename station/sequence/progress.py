"""What a running test tells whoever watches: a step, a speed reached, a value, and that the shaft comes to rest."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from station.measurement import Measurement

NoticeKind = Literal["step", "wait", "motor", "speed", "rest", "value", "note"]
WaitFor = Literal["another motor", "guard", "START"]


@dataclass(frozen=True, slots=True)
class Notice:
    """One line of progress: what it is about, in words, with a number where there is one.

    "rest" says that nothing is measured any more while the shaft may turn still, until a step begins or the run ends.

    For those who show it otherwise than by its words: `code` is the name of the step that begins, of what is waited
    for (see `WaitFor`), the serial of the motor that comes next, or the capture whose speed is reached; `measurement`
    is the new value, of the capture `label`.
    """

    kind: NoticeKind
    text: str
    code: str = ""
    measurement: Measurement | None = None
    label: str = ""


Watch = Callable[[Notice], None]


def unwatched(_notice: Notice) -> None:
    """Watch nothing: for runs that nobody looks at."""
