"""Stored tests for those who read them: the list, one test with its waveforms, and the budget of a value."""

from collections.abc import Mapping, Sequence
from itertools import islice
from typing import Any

from starlette.responses import Response

from station.audit.stored import kept_limits
from station.capture import Capture
from station.errors import EvidenceError, UsageError
from station.judgement.verdict import Verdict
from station.record.correction import corrections_of
from station.screens.access import Duty
from station.screens.ask import Ask, Page
from station.screens.pages import page
from station.screens.still_charts import harmonics_chart, poles_chart, revolution_chart
from station.screens.waveform import window_of
from station.screens.whole_day import end_of_day

SHOWN = 200         # tests in one list
Record = Mapping[str, Any]


def _list(ask: Ask) -> Response:
    filters = {name: ask.given(name, 80) for name in ("serial", "verdict", "type", "since", "until")}
    if filters["verdict"] not in ("", *Verdict):
        raise UsageError("unknown verdict", where="tests", expected="PASS, FAIL or NO RESULT", got=filters["verdict"],
                         remedy="Choose one from the list.")
    with ask.site.store() as store:
        found = store.find(serial=filters["serial"] or "*", verdict=filters["verdict"] or None,
                           since=filters["since"] or None, until=end_of_day(filters["until"]) or None,
                           motor_type=filters["type"] or None)
        marks = _marks(store.suspects(), store.statements("correction"))
    rows = [_row(record, marks) for record in islice(reversed(found), SHOWN)]
    return page(ask, "tests_list.html", filters=filters, verdicts=list(Verdict), rows=rows, count=len(found),
                most=SHOWN)


def _one(ask: Ask) -> Response:
    record = record_of(ask)
    other = _other(ask)
    label = ask.given("capture", 80) or (record["captures"][0]["label"] if record["captures"] else "")
    with ask.site.store() as store:
        said = corrections_of(record, store.statements("correction"))
    rows = [_judged(row) for row in record["judged"]]
    charts = {"revolution": revolution_chart(_plot(record, label), _plot(other, label) if other else None),
              "harmonics": harmonics_chart(record, label)}
    return page(ask, "tests_one.html", record=record, label=label, judged=rows, corrections=said, charts=charts,
                other=other)


def _poles(ask: Ask) -> Response:
    """Show what each pole turns over; computed from the capture when it is asked for."""
    record, number = record_of(ask), _number(ask)
    limits = kept_limits(record, ask.site.station.store)
    if limits is None:
        raise EvidenceError("the limit file of this test was not kept", where=record["serial"], expected="its file",
                            got="none", remedy="Poles cannot be told apart without the motor type.")
    chart = poles_chart(capture_of(ask, record, number), limits.motor_type)
    return page(ask, "tests_poles.html", record=record, chart=chart, label=record["captures"][number - 1]["label"])


def _budget(ask: Ask) -> Response:
    record, name, label = record_of(ask), ask.given("name", 80), ask.given("capture", 80)
    found = [m for m in record["measurements"] if (m["name"], m["label"]) == (name, label)]
    if not found:
        raise UsageError("no such value in this test", where=f"{record['serial']} run {record['run']}",
                         expected="a measured characteristic", got=f"{name} {label}".strip(),
                         remedy="Follow a link of the test's page.")
    rows = sorted(found[0]["budget"], key=lambda row: -row["u"])
    return page(ask, "tests_budget.html", record=record, value=found[0], rows=rows,
                total=sum(row["u"] ** 2 for row in rows))


def _wave(ask: Ask) -> Response:
    """Answer with a window of a capture, see `Window.as_bytes`."""
    record, number = record_of(ask), _number(ask)
    first, last, columns = (_whole(ask, name) for name in ("first", "last", "columns"))
    window = window_of(capture_of(ask, record, number), first, last, columns)
    return Response(window.as_bytes(), media_type="application/octet-stream")


def record_of(ask: Ask) -> Record:
    """Return the record that the address names, or raise UsageError."""
    serial, run = ask.path("serial"), ask.path("run")
    with ask.site.store() as store:
        found = [record for record in store.show(serial) if str(record["run"]) == run]
    if not found:
        raise UsageError("no such test", where="tests", expected="a stored serial and run", got=f"{serial}, run {run}",
                         remedy="Look for it in the list of tests.")
    return found[0]


def capture_of(ask: Ask, record: Record, number: int) -> Capture:
    """Return one capture of a record, checked against its hash."""
    with ask.site.store() as store:
        (capture,) = store.captures({**record, "captures": [record["captures"][number - 1]]})
    return capture


def _other(ask: Ask) -> Record | None:
    """Return the last run of the motor to be drawn beside this one, None if none is asked for."""
    serial = ask.given("beside", 80)
    if not serial:
        return None
    with ask.site.store() as store:
        found = store.show(serial)
    if not found:
        raise UsageError("no test of that motor", where="beside", expected="a serial number with a stored test",
                         got=serial, remedy="Look for it in the list of tests.")
    return found[-1]


def _plot(record: Record, label: str) -> Mapping[str, Any] | None:
    return next((plot for plot in record["plots"] if plot["label"] == label), None)


def _row(record: Record, marks: Mapping[tuple[str, int], str]) -> dict[str, Any]:
    failing = [row["name"] for row in record["judged"] if row["result"] == "FAIL"]
    return {"serial": record["serial"], "run": record["run"], "type": record["motor_type"]["name"],
            "started": record["started"], "verdict": record["verdict"], "failing": len(failing),
            "why": record["findings"][0]["text"] if record["findings"] else ", ".join(failing[:2]) or record["reason"],
            "mark": marks.get((record["serial"], record["run"]), "")}


def _marks(suspects: Sequence[Any], corrections: Sequence[Mapping[str, Any]]) -> dict[tuple[str, int], str]:
    """Return what else must be known of tests: `suspect` after a failed reference check, `void` by a person."""
    marks = {(suspect.serial, suspect.run): "suspect" for suspect in suspects}
    return marks | {(said["of"]["serial"], said["of"]["run"]): "void" for said in corrections if said["what"] == "void"}


def _judged(row: Mapping[str, Any]) -> dict[str, Any]:
    return {**row, "side": "" if row["result"] != "FAIL" or row["value"] is None else
            "below" if row["lower"] is not None and row["value"] < row["lower"] else
            "above" if row["upper"] is not None and row["value"] > row["upper"] else "unsure"}


def _number(ask: Ask) -> int:
    """Return the number of the capture that the address names; UsageError if there is no such."""
    text, count = ask.path("number"), len(record_of(ask)["captures"])
    if not text.isdecimal() or not 1 <= int(text) <= count:
        raise UsageError("no such capture", where="captures", expected=f"1 to {count}", got=text,
                         remedy="Follow a link of the test's page.")
    return int(text)


def _whole(ask: Ask, name: str) -> int:
    text = ask.given(name, 12)
    if not text.lstrip("-").isdecimal():
        raise UsageError("that is no whole number", where=name, expected="samples or columns", got=repr(text),
                         remedy="Use the test's own page.")
    return int(text)


PAGES = (
    Page("/tests", Duty.READ, _list),
    Page("/tests/{serial}/{run}", Duty.READ, _one),
    Page("/tests/{serial}/{run}/budget", Duty.READ, _budget),
    Page("/tests/{serial}/{run}/captures/{number}/poles", Duty.READ, _poles),
    Page("/tests/{serial}/{run}/captures/{number}/wave", Duty.READ, _wave),
)
