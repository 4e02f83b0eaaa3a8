"""How the line stands: one immutable value, and what each event makes of it."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from station.bench.roles import GuardState
from station.errors import StationError
from station.judgement.limit_file import Limit
from station.screens.standing import Standing
from station.sequence.progress import Notice

Phase = Literal["idle", "waiting", "testing", "ended", "checked", "refused"]
WORST = 3       # failing values shown to an operator
SHUT = GuardState(closed=True, emergency_stop_healthy=True)     # as it is while a test comes to its result


@dataclass(frozen=True, slots=True)
class Earlier:
    """An earlier run of the same motor."""

    run: int
    verdict: str
    started: str


@dataclass(frozen=True, slots=True)
class Order:
    """What a motor is tested by; known as soon as it is scanned. With `references`, a reference check of those."""

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
    earlier: tuple[Earlier, ...] = ()
    limits: tuple[Limit, ...] = ()
    references: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Seen:
    """A value as it came in; whether it will do is not said before the record is durable."""

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
    is_coasting: bool = False           # nothing is measured any more, and the shaft may turn still
    reached: str = ""                   # the capture whose speed was reached last
    values: tuple[Seen, ...] = ()
    note: str = ""
    placing: str = ""                   # the reference motor that comes next
    record: Mapping[str, Any] | None = None
    check: Mapping[str, Any] | None = None      # a reference check as stored
    trouble: StationError | None = None     # why nothing was tested
    hint: StationError | None = None        # why what was scanned meanwhile is not taken
    standing: Standing = field(default_factory=Standing)
    fails: int = 0                      # motors that failed one after the other

    @property
    def serial(self) -> str:
        """Of the motor under test, or the last one."""
        return self.order.serial if self.order else ""

    @property
    def is_busy(self) -> bool:
        """Whether a motor is waited for or tested."""
        return self.phase in ("waiting", "testing")


def asked_for(state: LineState, order: Order, operator: str) -> LineState:
    """Return the state once a motor is waited for: nothing of the one before is left but what concerns the station."""
    return LineState(state.number, "waiting", order, operator, state.guard, standing=state.standing, fails=state.fails)


def at_rest(state: LineState, guard: GuardState | None, standing: Standing) -> LineState:
    """Return the state after a look at the guard and the station.

    Once the guard was opened, the motor of the verdict can be gone; once it was closed again, another can be there,
    and nothing is left of the verdict.
    """
    if state.is_busy:
        return state
    seen = replace(state, guard=guard, standing=standing)
    was, now = state.guard is not None and state.guard.closed, guard is not None and guard.closed
    if was and not now and state.phase in ("ended", "checked"):
        return replace(seen, phase="idle")
    if now and not was and state.phase == "idle":
        return replace(seen, record=None, check=None, order=None)
    return seen


def after_notice(state: LineState, notice: Notice, now: float) -> LineState:
    """Return the state after what a running test told at `now`, s, monotonic."""
    if notice.kind == "wait":
        return replace(state, phase="waiting", wait=notice.code, hint=None)
    if notice.kind == "motor":
        return replace(state, phase="waiting", wait="", placing=notice.code, values=(), reached="", step="",
                       is_coasting=False)
    if notice.kind == "step":
        return replace(state, phase="testing", wait="", step=notice.code, step_began=now, is_coasting=False, hint=None)
    if notice.kind == "speed":
        return replace(state, reached=notice.code)
    if notice.kind == "value" and notice.measurement is not None:
        found = notice.measurement
        return replace(state, values=(*state.values, Seen(found.name, notice.label, found.value, found.unit)))
    return replace(state, note=notice.text, is_coasting=state.is_coasting or notice.kind == "rest")


def ended(state: LineState, record: Mapping[str, Any]) -> LineState:
    """Return the state once the record is durable, and not before.

    What broke a test off may be the guard: how it is now is only known when it was looked at again, so that the reason
    is not gone at the first look at a guard that stands open.
    """
    verdict = record["verdict"]
    fails = 0 if verdict == "PASS" else state.fails + (verdict == "FAIL")
    guard = None if verdict == "NO RESULT" else SHUT
    return replace(state, phase="ended", wait="", is_coasting=False, hint=None, record=record, fails=fails,
                   guard=guard)


def checked(state: LineState, check: Mapping[str, Any]) -> LineState:
    """Return the state once a reference check is stored; after a GOOD one, failures are the motors' own."""
    fails = 0 if check["result"] == "GOOD" else state.fails
    guard = None if check["result"] == "NO RESULT" else SHUT
    return replace(state, phase="checked", wait="", is_coasting=False, hint=None, check=check, fails=fails,
                   guard=guard)


def refused(state: LineState, trouble: StationError) -> LineState:
    """Return the state when what was scanned is not taken.

    A motor that is waited for or tested comes first, and a verdict stays that was read into twice.
    """
    again = state.phase == "ended" and trouble.where == state.serial
    if state.is_busy or again:
        return replace(state, hint=trouble)
    return stopped_by(replace(state, order=None), trouble)


def stopped_by(state: LineState, trouble: StationError) -> LineState:
    """Return the state when no test came about; nothing of an earlier verdict stays."""
    return replace(state, phase="refused", wait="", is_coasting=False, hint=None, record=None, check=None,
                   trouble=trouble)
