"""What the operator's page says of the line: word, sign and next step, out of the one table of states."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import floor, log10
from typing import Any

from station.errors import StationError, StoppedError
from station.screens.line_state import WORST, LineState, Order
from station.screens.plain_names import capture_name, plain_name
from station.screens.refusal import RefusedError, reason_of, refusal_of
from station.screens.words import Words
from station.units import printed

# States in which something can hurt, now or soon.
HAZARDOUS = ("wait", "guard", "start", "testing", "coasting", "change")
SHOWN = 6       # values shown as they come, the newest
# Causes that lie as well in how the motor sits and is plugged in as in the motor.
AT_THE_FIXTURE = frozenset({"channel_wrong", "speed_disagrees", "coupling_slips", "unsteady_capture", "loose_contact",
                            "hall_channel_missing", "hall_supply_missing", "no_back_emf", "open_phase"})


@dataclass(frozen=True, slots=True)
class View:
    """One state as it is drawn: `key` names its words and colour, `sign` its shape."""

    key: str
    sign: str
    word: str
    step: str
    details: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    worst: tuple[str, ...] = ()
    values: tuple[tuple[str, str, str], ...] = ()       # name, value, its limits
    english: str = ""                   # what instruments and errors said, beside its translation
    hint: str = ""
    seconds_left: float | None = None
    may_be_allowed: bool = False        # an engineer may let it be tested all the same


# key -> shape; the words are `line.<key>.word` and `line.<key>.step` of each language
SIGNS = {"ready": "label", "locked": "lock", "reference": "known", "change": "fixture", "guard": "guard",
         "wait": "glass", "start": "start", "testing": "turning", "coasting": "glass", "pass": "tick", "fail": "cross",
         "no-result": "question", "stopped": "hand",
         "refused": "bar", "check-good": "tick", "check-bad": "lock", "check-none": "question"}


def view_of(state: LineState, now: float, words: Words, *, by_fails: bool = False) -> View:
    """Return what is drawn for `state` at `now`, s, monotonic; `by_fails`: many failures have locked the line."""
    key = key_of(state, by_fails=by_fails)
    step = "again" if key == "fail" and has_run_left(state) else "step"
    return View(key, SIGNS[key], words.text(f"line.{key}.word"), words.text(f"line.{key}.{step}"),
                tuple(_details(state, key, words)),
                tuple(cautions(state.order, words)) if key in HAZARDOUS else (),
                _worst(state.record, words) if state.record and key == "fail" else (),
                tuple(_values(state, words)) if key in ("testing", "coasting") else (), _english(state, key),
                _said(state.hint, words) if state.hint else "",
                _left(state, now) if key == "testing" else None, _may_be_allowed(state, key))


def key_of(state: LineState, *, by_fails: bool = False) -> str:
    """Return the name of the state that an operator sees."""
    if state.phase == "idle":
        locked = state.standing.locked or by_fails
        return "locked" if locked else "reference" if state.standing.needs_reference else "ready"
    if state.phase == "waiting":
        return {"another motor": "change", "guard": "guard", "START": "start"}.get(state.wait, "wait")
    if state.phase == "refused":
        return "stopped" if isinstance(state.trouble, StoppedError) else "refused"
    if state.phase == "checked" and state.check is not None:
        return {"GOOD": "check-good", "BAD": "check-bad"}.get(str(state.check["result"]), "check-none")
    if state.phase == "testing" or state.record is None:
        return "coasting" if state.is_coasting else "testing"
    return _of_verdict(state.record)


def _of_verdict(record: Mapping[str, Any]) -> str:
    verdict = str(record["verdict"])
    if verdict == "NO RESULT" and _was_stopped(record):
        return "stopped"
    return {"PASS": "pass", "FAIL": "fail"}.get(verdict, "no-result")


def has_run_left(state: LineState) -> bool:
    """Return whether the limit file allows the motor that just failed another run."""
    return state.order is not None and state.order.run < state.order.allowed


def cautions(order: Order | None, words: Words) -> Iterator[str]:
    """Yield what can hurt in the test that comes, before it does."""
    if order is None:
        return
    yield words.text("caution.shaft")
    if order.touch_speed_rpm is not None:
        speed = floor_to_two_digits(order.touch_speed_rpm)
        yield words.text("caution.terminals", speed=words.number(speed, 4, "r/min"))
    if order.insulation_v is not None:
        yield words.text("caution.insulation", volts=words.number(order.insulation_v, 4, "V"))


def floor_to_two_digits(value: float) -> float:
    """Return a number from 10 on with two significant digits, never more than it is: a caution errs to be safe."""
    size = 10 ** (floor(log10(value)) - 1)
    return float(floor(value) // size * size)


def _details(state: LineState, key: str, words: Words) -> Iterator[str]:
    record, order = state.record, state.order
    if key in ("refused", "stopped") and state.phase == "refused" and state.trouble is not None:
        yield _said(state.trouble, words)
        if isinstance(state.trouble, RefusedError) and state.trouble.where:
            yield words.text("line.read", text=state.trouble.where)
    if key == "locked":
        locked = state.standing.locked
        yield (f"{locked.what(words)} {locked.do(words)}" if locked else
               words.text("refused.fails.what", count=state.fails) + " " + words.text("refused.fails.do"))
    if key == "reference":
        yield words.text("line.reference.motors", serials=", ".join(state.standing.to_check()))
    if key.startswith("check-") and state.check is not None:
        yield from (str(reason) for reason in state.check["reasons"][:WORST])
    if key in ("wait", "guard", "start", "change", "testing") and state.placing:
        yield words.text("line.placing", serial=state.placing)
    if key in ("wait", "guard", "start", "change") and order is not None and order.earlier:
        last = order.earlier[-1]
        yield words.text("line.earlier", run=last.run, verdict=words.text(f"verdict.{last.verdict}"),
                         at=last.started[:16].replace("T", " ") + " UTC")
    if key == "testing" and order is not None and state.step in order.steps:
        yield words.text("line.step", number=order.steps.index(state.step) + 1, count=len(order.steps), step=state.step)
        if state.reached:
            yield words.text("line.speed", capture=capture_name(state.reached, words))
    if key == "fail" and record is not None and record["findings"]:
        yield from _cause(record["findings"][0], words)
    if key in ("no-result", "stopped") and state.phase == "ended" and record is not None:
        cause = reason_of(record)
        if cause is not None:
            yield f"{cause.what(words)} {cause.do(words)}"
        yield words.text("line.reference_number", number=f"{record['serial']} / {record['run']}")


def _english(state: LineState, key: str) -> str:
    """Return in full what kept a test from its result, for an engineer; empty where nothing is left to say."""
    if key in ("no-result", "stopped") and state.phase == "ended" and state.record is not None:
        return str(state.record["reason"])
    trouble = state.trouble if key in ("refused", "stopped") else None
    return str(trouble) if trouble is not None and not isinstance(trouble, RefusedError) else ""


def _cause(finding: Mapping[str, Any], words: Words) -> Iterator[str]:
    """Yield the likely cause in plain words, and what to do about it."""
    code = str(finding["code"])
    yield words.texts.get(f"finding.{code}", str(finding["text"]))
    yield words.text("action.fixture" if code in AT_THE_FIXTURE else "action.rework")


def _said(trouble: StationError, words: Words) -> str:
    refusal = refusal_of(trouble)
    return f"{refusal.what(words)} {refusal.do(words)}"


def _may_be_allowed(state: LineState, key: str) -> bool:
    if key == "locked":
        return state.standing.locked is None or state.standing.locked.is_allowable
    said = state.hint if key in ("pass", "fail") else state.trouble if key == "refused" else None
    return key == "check-bad" or (said is not None and refusal_of(said).is_allowable)


def _was_stopped(record: Mapping[str, Any]) -> bool:
    """Return whether guard, emergency stop or a person ended the test."""
    return record.get("cause", {}).get("code") in ("guard_opened", "emergency_stop", "given_up")


def _worst(record: Mapping[str, Any], words: Words) -> tuple[str, ...]:
    """Return the failing characteristics, the furthest out first, each once: what, measured, allowed."""
    failing = [row for row in record["judged"] if row["result"] == "FAIL" and row["value"] is not None]
    failing.sort(key=lambda row: row["margin"] if row["margin"] is not None else 0.0)
    first: dict[str, Mapping[str, Any]] = {}
    for row in failing:
        first.setdefault(row["name"].partition(".")[0], row)
    return tuple(_row(row, words) for row in list(first.values())[:WORST])


def _row(row: Mapping[str, Any], words: Words) -> str:
    unit, value = printed(row["unit"]), float(row["value"])
    what = plain_name(row["name"], words) + (f", {capture_name(row['label'], words)}" if row["label"] else "")
    below = row["lower"] is not None and value < row["lower"]
    above = row["upper"] is not None and value > row["upper"]
    if not below and not above:
        return f"{what}: {words.number(value, 4, unit)}, {words.text('limit.unsure')}"
    bound, side = (row["lower"], "at_least") if below else (row["upper"], "at_most")
    digits = telling_digits(value, float(bound))
    return f"{what}: {words.number(value, digits, unit)}, " + words.text(
        f"limit.{side}", limit=words.number(bound, digits, unit))


def telling_digits(value: float, bound: float) -> int:
    """Return how many significant digits, four at least, tell a value from the limit that it breaks."""
    return next((digits for digits in range(4, 16)
                 if float(f"{value:.{digits}g}") != float(f"{bound:.{digits}g}")), 16)


def _values(state: LineState, words: Words) -> Iterator[tuple[str, str, str]]:
    """Yield the newest limited values with their limits; what they mean is said once the record is durable."""
    limits = state.order.limits if state.order else ()
    limited = [(seen, limit) for seen in state.values
               for limit in [next((one for one in limits if one.covers(seen.name, seen.label)), None)]
               if limit is not None]
    for seen, limit in limited[-SHOWN:]:
        unit = printed(seen.unit)
        bounds = [words.text(f"limit.{side}", limit=words.number(bound, 4, unit))
                  for side, bound in (("at_least", limit.lower), ("at_most", limit.upper)) if bound is not None]
        name = plain_name(seen.name, words) + (f", {capture_name(seen.label, words)}" if seen.label else "")
        yield name, words.number(seen.value, 4, unit), ", ".join(bounds)


def _left(state: LineState, now: float) -> float | None:
    """Return about how many seconds are left, as the last test of this kind took; None where there was none."""
    if state.order is None or not state.order.seconds or state.step not in state.order.steps:
        return None
    place = state.order.steps.index(state.step)
    rest = sum(state.order.seconds.get(step, 0.0) for step in state.order.steps[place:])
    return max(0.0, rest - (now - state.step_began))
