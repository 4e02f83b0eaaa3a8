"""How the line stands: one immutable value, and what each event makes of it."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from station.bench.roles import GuardState
from station.errors import StationError
from station.sequence.progress import Notice

Phase = Literal["idle", "waiting", "testing", "ended", "refused"]
WORST = 3       # failing values shown to an operator


@dataclass(frozen=True, slots=True)
class Order:
    """What a motor is tested by; known as soon as it is scanned."""

    serial: str
    motor_type: str
    limit_revision: str
    limit_sha256: str
    sequence: str
    steps: tuple[str, ...]
    run: int
    allowed: int
    touch_speed_rpm: float | None = None        # above which its open terminals can hurt
    insulation_v: float | None = None
    seconds: Mapping[str, float] = field(default_factory=dict)      # of each step, as the last test of this kind took


@dataclass(frozen=True, slots=True)
class Seen:
    """A value as it came in, with its limits where there are any."""

    name: str
    label: str
    value: float
    unit: str


@dataclass(frozen=True, slots=True)
class LineState:
    """Everything that pages show of a running test; verdicts stand in `record` alone, which is durable."""

    number: int = 0
    phase: Phase = "idle"
    order: Order | None = None
    operator: str = ""
    guard: GuardState | None = None
    wait: str = ""                      # what a person is waited for, see `progress.WaitFor`
    step: str = ""
    step_began: float = 0.0             # s, monotonic
    reached: str = ""                   # the capture whose speed was reached last
    values: tuple[Seen, ...] = ()
    note: str = ""
    record: Mapping[str, Any] | None = None
    trouble: StationError | None = None     # why nothing was tested
    locked: StationError | None = None      # why nothing may be tested

    @property
    def serial(self) -> str:
        """Of the motor under test, or the last one."""
        return self.order.serial if self.order else ""

    @property
    def is_busy(self) -> bool:
        """Whether a motor is waited for or tested."""
        return self.phase in ("waiting", "testing")


def at_rest(state: LineState, guard: GuardState | None, locked: StationError | None) -> LineState:
    """Return the state after a look at the guard; once that was opened, the motor of the verdict can be gone."""
    if state.is_busy:
        return state
    same = state.locked if str(state.locked) == str(locked) else locked
    seen = replace(state, guard=guard, locked=same)
    opened = guard is not None and not guard.closed and state.guard is not None and state.guard.closed
    return replace(seen, phase="idle") if opened and state.phase == "ended" else seen


def after_notice(state: LineState, notice: Notice, now: float) -> LineState:
    """Return the state after what a running test told at `now`, s, monotonic."""
    if notice.kind == "wait":
        return replace(state, phase="waiting", wait=notice.code)
    if notice.kind == "step":
        return replace(state, phase="testing", wait="", step=notice.code, step_began=now)
    if notice.kind == "speed":
        return replace(state, reached=notice.code)
    if notice.kind == "value" and notice.measurement is not None:
        found = notice.measurement
        return replace(state, values=(*state.values, Seen(found.name, notice.label, found.value, found.unit)))
    return replace(state, note=notice.text)


def ended(state: LineState, record: Mapping[str, Any]) -> LineState:
    """Return the state once the record is durable, and not before."""
    return replace(state, phase="ended", wait="", record=record)


def stopped_by(state: LineState, trouble: StationError) -> LineState:
    """Return the state when no test came about."""
    return replace(state, phase="refused", wait="", trouble=trouble)
