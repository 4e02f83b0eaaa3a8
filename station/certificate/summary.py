"""The first page: which motor, the verdict and why, under which conditions and rules."""

from collections.abc import Mapping, Sequence
from itertools import zip_longest
from typing import Any

from reportlab.lib.colors import white

from station.certificate import fonts
from station.certificate.log_place import LogPlace
from station.certificate.marks import COLOUR, GREY, INK, sign
from station.certificate.qr_code import QUIET, draw_code
from station.certificate.rows import unit_text
from station.certificate.sheet import LEFT, RIGHT, ROOM, Sheet

UNKNOWN = "not recorded"
_LABEL = 62.0        # points, width of the names beside values
_CODE = 47.0         # points, side of the QR code: some 0.5 mm a module, which a telephone reads off any office printer


def at(record: Mapping[str, Any], *path: str) -> str:
    """Return the text at a path of keys, or "not recorded" where any step is missing or empty."""
    found: Any = record
    for key in path:
        found = found.get(key) if isinstance(found, Mapping) else None
    if isinstance(found, float):
        return f"{found:g}".replace("-", "−")
    return UNKNOWN if found is None or found == "" else str(found)


def certificate_number(record: Mapping[str, Any]) -> str:
    """Return station id, serial number and run, which together name one test."""
    return f"{at(record, 'station', 'id')}-{at(record, 'serial')}-{at(record, 'run')}"


def summary(sheet: Sheet, record: Mapping[str, Any], place: LogPlace | None = None) -> None:
    """Draw title, verdict, reason, findings, identity, conditions and rules; a code if `place` in the log is known."""
    right = RIGHT if place is None else _code(sheet, place)
    _title(sheet, record, right)
    _verdict(sheet, record, right)
    findings = record.get("findings") or ()
    if findings:
        sheet.section("Findings: likely causes")
        for finding in findings:
            sheet.paragraph(f"• {finding.get('text') or finding.get('code')}", size=6.8)
    sheet.section("Motor, test and conditions")
    fields(sheet, _motor(record), _test(record), _conditions(record))
    sheet.section("Limits, order of work and decision")
    fields(sheet, _rules(record))


def fields(sheet: Sheet, *columns: Sequence[tuple[str, str]]) -> None:
    """Draw columns of names and values side by side, each value wrapped inside its own column."""
    step = ROOM / len(columns)
    for band in zip_longest(*columns, fillvalue=("", "")):
        wrapped = [fonts.wrap(value, fonts.REGULAR, 6.4, step - _LABEL - 6) for _, value in band]
        height = 8.0 * max(map(len, wrapped))
        sheet.need(height)
        for index, ((name, _), lines) in enumerate(zip(band, wrapped, strict=True)):
            x = LEFT + 3 + index * step
            sheet.fitted(x, sheet.y - 7, name, _LABEL - 4, 6.2, colour=GREY)
            for number, line in enumerate(lines):
                sheet.text(x + _LABEL, sheet.y - 7 - 8.0 * number, line, 6.4)
        sheet.y -= height


def _code(sheet: Sheet, place: LogPlace) -> float:
    """Draw the QR code into the upper right corner; return how far to the right there is room beside it."""
    module = draw_code(sheet.canvas, *place.parts, RIGHT - _CODE, sheet.y - _CODE - 5, _CODE)
    return RIGHT - _CODE - QUIET * module


def _title(sheet: Sheet, record: Mapping[str, Any], right: float) -> None:
    sheet.y -= 20
    sheet.text(LEFT, sheet.y, sheet.imprint.title, 18, font=fonts.BOLD)
    sheet.text(right, sheet.y + 8, "certificate number", 6.4, colour=GREY, align="right")
    sheet.text(right, sheet.y - 2, certificate_number(record), 9.5, font=fonts.BOLD, align="right")
    sheet.y -= 8
    sheet.rule(colour=INK, width=1, room=right - LEFT)
    sheet.y -= 5


def _verdict(sheet: Sheet, record: Mapping[str, Any], right: float) -> None:
    """PASS is dark on white, FAIL white on a full dark field, NO RESULT in a broken frame."""
    verdict = sheet.imprint.verdict
    reason = fonts.wrap(at(record, "reason"), fonts.REGULAR, 8, right - LEFT - 190)
    height = max(38.0, 22.0 + 9.5 * len(reason))
    canvas, colour = sheet.canvas, COLOUR[verdict]
    canvas.saveState()
    canvas.setStrokeColor(colour)
    canvas.setFillColor(colour if verdict == "FAIL" else white)
    canvas.setLineWidth(2)
    canvas.setDash([5, 3] if verdict == "NO RESULT" else [])
    canvas.rect(LEFT + 1, sheet.y - height, 168, height - 1, stroke=1, fill=1)
    canvas.restoreState()
    ink = white if verdict == "FAIL" else colour
    middle = sheet.y - height / 2
    sign(canvas, verdict, LEFT + 12, middle - 12, 24, ink)
    sheet.text(LEFT + 46, middle - 8, verdict, 20 if verdict == "NO RESULT" else 25, font=fonts.BOLD, colour=ink)
    motor = f"motor {at(record, 'serial')}, type {at(record, 'motor_type', 'name')}"
    sheet.text(LEFT + 182, sheet.y - 11, motor, 10, font=fonts.BOLD)
    for number, line in enumerate(reason):
        sheet.text(LEFT + 182, sheet.y - 24 - 10 * number, line, 8)
    sheet.y -= height + 1


def _motor(record: Mapping[str, Any]) -> list[tuple[str, str]]:
    motor = record.get("motor_type") or {}
    spacing = "none" if motor.get("spacing_deg") is None else f"{motor['spacing_deg']}° apart"
    return [
        ("serial number", at(record, "serial")), ("motor type", at(record, "motor_type", "name")),
        ("winding", f"{at(record, 'motor_type', 'winding')}, {_with_unit(motor.get('rated_voltage_V'), 'V')}"),
        ("pole pairs", at(record, "motor_type", "pole_pairs")), ("Hall sensors", spacing),
        ("forward",
         f"{at(record, 'motor_type', 'forward')} seen from the {at(record, 'motor_type', 'viewed_from')}"),
    ]


def _test(record: Mapping[str, Any]) -> list[tuple[str, str]]:
    run, allowed = at(record, "run"), at(record, "runs_allowed")
    retest = isinstance(record.get("run"), int) and record["run"] > 1
    return [
        ("station", at(record, "station", "id")), ("place of test", at(record, "station", "place")),
        ("operator", at(record, "operator")), ("start", f"{at(record, 'started')} (UTC)"),
        ("end", f"{at(record, 'ended')} (UTC)"),
        ("run", f"{run} of {allowed}" + (f" — RETEST, {_earlier(record)}" if retest else " — first test")),
    ]


def _earlier(record: Mapping[str, Any]) -> str:
    """Return what the earlier runs came to, and who allowed one more than the limit file does."""
    runs = [f"{at(earlier, 'run')} {at(earlier, 'verdict')}{' (void)' if earlier.get('void') else ''}"
            for earlier in record.get("attempts") or ()]
    words = f"earlier: {', '.join(runs)}" if runs else "earlier runs are on record"
    if record.get("further_run"):
        words += f"; allowed by {at(record, 'further_run', 'person')}: {at(record, 'further_run', 'reason')}"
    return words


def _conditions(record: Mapping[str, Any]) -> list[tuple[str, str]]:
    maker = record.get("maker") or {}
    made_by = ", ".join(str(maker[key]) for key in ("name", "address", "line") if maker.get(key))
    pairs = [("maker", made_by)] if made_by else []
    for key, value in (record.get("conditions") or {}).items():
        name, _, unit = key.rpartition("_") if "_" in key else (key, "", "")
        pairs.append((name.replace("_", " "), _with_unit(value, unit_text(unit))))
    return pairs


def _with_unit(value: object, unit: str) -> str:
    if value is None:
        return UNKNOWN
    return (f"{value:g}" if isinstance(value, float) else str(value)).replace("-", "−") + f" {unit}"


def _order(record: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return for whom and to which drawing the motor was made, in one row; none where the record does not say."""
    order = record.get("order") or {}
    names = {"customer": "{}", "number": "order {}", "part": "part {}", "part_revision": "revision {}",
             "drawing": "drawing {}", "drawing_revision": "revision {}", "lot": "lot {}", "sampling": "tested: {}"}
    words = ", ".join(text.format(order[key]) for key, text in names.items() if order.get(key))
    return [("made for", words)] if words else []


def _rules(record: Mapping[str, Any]) -> list[tuple[str, str]]:
    limit, sequence = "limit_file", "sequence"
    released = (f"released by {at(record, limit, 'released_by')} on {at(record, limit, 'released_on')}"
                if at(record, limit, "released_by") != UNKNOWN else "DRAFT, not released")
    return [
        *_order(record),
        ("limit file", f"{at(record, limit, 'name')}, revision {at(record, limit, 'revision')}, {released}, "
                       f"SHA-256 {at(record, limit, 'sha256')}"),
        ("revision note", at(record, limit, "note")),
        ("sequence", f"{at(record, sequence, 'name')}, revision {at(record, sequence, 'revision')}, "
                     f"SHA-256 {at(record, sequence, 'sha256')}"),
        ("decision rule", at(record, "decision", "sentence")),
    ]
