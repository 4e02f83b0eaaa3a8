"""What the operator's page says of the line: word, sign and next step, out of the one table of states."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from station.errors import StoppedError
from station.screens.line_state import WORST, LineState
from station.screens.words import Words
from station.units import printed


@dataclass(frozen=True, slots=True)
class View:
    """One state as it is drawn: `key` names its words and colour, `sign` its shape."""

    key: str
    sign: str
    word: str
    step: str
    worst: tuple[str, ...] = ()
    finding: str = ""
    detail: str = ""
    seconds_left: float | None = None


# key -> shape; the words are `line.<key>.word` and `line.<key>.step` of each language
SIGNS = {"ready": "label", "locked": "lock", "change": "fixture", "guard": "guard", "start": "start",
         "testing": "turning", "pass": "tick", "fail": "cross", "no-result": "question", "stopped": "hand",
         "refused": "bar"}


def view_of(state: LineState, now: float, words: Words) -> View:
    """Return what is drawn for `state` at `now`, s, monotonic."""
    key = key_of(state)
    record = state.record if state.phase == "ended" else None
    return View(key, SIGNS[key], words.text(f"line.{key}.word"), words.text(f"line.{key}.step"),
                _worst(record, words) if record and key == "fail" else (),
                record["findings"][0]["text"] if record and record["findings"] else "",
                _detail(state, record), _left(state, now) if key == "testing" else None)


def key_of(state: LineState) -> str:
    """Return the name of the state that an operator sees."""
    if state.phase == "idle":
        return "locked" if state.locked else "ready"
    if state.phase == "waiting":
        return {"another motor": "change", "guard": "guard", "START": "start"}.get(state.wait, "guard")
    if state.phase == "refused":
        return "stopped" if isinstance(state.trouble, StoppedError) else "refused"
    if state.phase == "testing" or state.record is None:
        return "testing"
    return {"PASS": "pass", "FAIL": "fail"}.get(str(state.record["verdict"]), "no-result")


def _detail(state: LineState, record: Mapping[str, Any] | None) -> str:
    if state.phase == "refused" and state.trouble is not None:
        return f"{state.trouble.what}. {state.trouble.remedy}"
    if state.phase == "idle" and state.locked is not None:
        return f"{state.locked.what}. {state.locked.remedy}"
    return str(record["reason"]) if record and record["verdict"] == "NO RESULT" else ""


def _worst(record: Mapping[str, Any], words: Words) -> tuple[str, ...]:
    """Return the failing values, the furthest out first: what, measured, allowed."""
    failing = [row for row in record["judged"] if row["result"] == "FAIL" and row["value"] is not None]
    failing.sort(key=lambda row: row["margin"] if row["margin"] is not None else 0.0)
    return tuple(_row(row, words) for row in failing[:WORST])


def _row(row: Mapping[str, Any], words: Words) -> str:
    unit, below = printed(row["unit"]), row["lower"] is not None and row["value"] < row["lower"]
    bound, side = (row["lower"], "at_least") if below else (row["upper"], "at_most")
    at = f" ({row['label']})" if row["label"] else ""
    return f"{row['name']}{at}: {words.number(row['value'], 4, unit)}, " + words.text(
        f"limit.{side}", limit=words.number(bound, 4, unit))


def _left(state: LineState, now: float) -> float | None:
    """Return about how many seconds are left, as the last test of this kind took; None where there was none."""
    if state.order is None or not state.order.seconds or state.step not in state.order.steps:
        return None
    place = state.order.steps.index(state.step)
    rest = sum(state.order.seconds.get(step, 0.0) for step in state.order.steps[place:])
    return max(0.0, rest - (now - state.step_began))
