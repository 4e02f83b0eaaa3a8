"""The first page: which motor, the verdict and why, under which conditions and rules."""

from collections.abc import Mapping, Sequence
from typing import Any

from reportlab.lib.colors import white

from station.certificate import fonts
from station.certificate.marks import COLOUR, GREY, INK, sign
from station.certificate.rows import unit_text
from station.certificate.sheet import LEFT, RIGHT, ROOM, Sheet

UNKNOWN = "not recorded"
_LABEL = 78.0        # points, width of the names beside values


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


def summary(sheet: Sheet, record: Mapping[str, Any]) -> None:
    """Draw title, verdict, reason, findings, identity, conditions and rules."""
    _title(sheet, record)
    _verdict(sheet, record)
    findings = record.get("findings") or ()
    if findings:
        sheet.section("Findings: likely causes")
        for finding in findings:
            sheet.paragraph(f"• {finding.get('text') or finding.get('code')}", size=7)
    sheet.section("Motor and test")
    fields(sheet, _identity(record))
    sheet.section("Limits, order of work and decision")
    fields(sheet, _rules(record))
    sheet.paragraph(f"Decision rule: {at(record, 'decision', 'sentence')}")


def fields(sheet: Sheet, pairs: Sequence[tuple[str, str]]) -> None:
    """Draw names and values in two columns, each value wrapped inside its own column."""
    room = ROOM / 2 - _LABEL - 8
    for start in range(0, len(pairs), 2):
        columns = [(name, fonts.wrap(value, fonts.REGULAR, 6.8, room)) for name, value in pairs[start:start + 2]]
        height = 8.8 * max(len(lines) for _, lines in columns)
        sheet.need(height)
        for index, (name, lines) in enumerate(columns):
            x = LEFT + 3 + index * ROOM / 2
            sheet.text(x, sheet.y - 8, name, 6.4, colour=GREY)
            for number, line in enumerate(lines):
                sheet.text(x + _LABEL, sheet.y - 8 - 8.8 * number, line, 6.8)
        sheet.y -= height


def _title(sheet: Sheet, record: Mapping[str, Any]) -> None:
    sheet.y -= 20
    sheet.text(LEFT, sheet.y, sheet.imprint.title, 18, font=fonts.BOLD)
    sheet.text(RIGHT, sheet.y + 8, "certificate number", 6.4, colour=GREY, align="right")
    sheet.text(RIGHT, sheet.y - 2, certificate_number(record), 9.5, font=fonts.BOLD, align="right")
    sheet.y -= 8
    sheet.rule(colour=INK, width=1)
    sheet.y -= 5


def _verdict(sheet: Sheet, record: Mapping[str, Any]) -> None:
    """PASS is dark on white, FAIL white on a full dark field, NO RESULT in a broken frame."""
    verdict = sheet.imprint.verdict
    reason = fonts.wrap(at(record, "reason"), fonts.REGULAR, 8, ROOM - 190)
    height = max(44.0, 26.0 + 10 * len(reason))
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


def _identity(record: Mapping[str, Any]) -> list[tuple[str, str]]:
    motor = record.get("motor_type") or {}
    run, allowed = at(record, "run"), at(record, "runs_allowed")
    retest = isinstance(record.get("run"), int) and record["run"] > 1
    spacing = "none" if motor.get("spacing_deg") is None else f"{motor['spacing_deg']}° apart"
    return [
        ("serial number", at(record, "serial")), ("station", at(record, "station", "id")),
        ("motor type", at(record, "motor_type", "name")), ("place of test", at(record, "station", "place")),
        ("pole pairs", at(record, "motor_type", "pole_pairs")), ("operator", at(record, "operator")),
        ("winding", f"{at(record, 'motor_type', 'winding')}, {_with_unit(motor.get('rated_voltage_V'), 'V')}"),
        ("start", f"{at(record, 'started')} (UTC)"),
        ("forward",
         f"{at(record, 'motor_type', 'forward')} seen from the {at(record, 'motor_type', 'viewed_from')}"),
        ("end", f"{at(record, 'ended')} (UTC)"),
        ("Hall sensors", spacing),
        ("run", f"{run} of {allowed}" + (" — RETEST, earlier runs are on record" if retest else " — first test")),
        *_conditions(record.get("conditions") or {}),
    ]


def _conditions(conditions: Mapping[str, Any]) -> list[tuple[str, str]]:
    pairs = []
    for key, value in conditions.items():
        name, _, unit = key.rpartition("_") if "_" in key else (key, "", "")
        pairs.append((name.replace("_", " "), _with_unit(value, unit_text(unit))))
    return pairs


def _with_unit(value: object, unit: str) -> str:
    if value is None:
        return UNKNOWN
    return (f"{value:g}" if isinstance(value, float) else str(value)).replace("-", "−") + f" {unit}"


def _rules(record: Mapping[str, Any]) -> list[tuple[str, str]]:
    limit, sequence = "limit_file", "sequence"
    released = (f"{at(record, limit, 'released_by')}, {at(record, limit, 'released_on')}"
                if at(record, limit, "released_by") != UNKNOWN else "DRAFT, not released")
    return [
        ("limit file", f"{at(record, limit, 'name')}, revision {at(record, limit, 'revision')}"),
        ("sequence", f"{at(record, sequence, 'name')}, revision {at(record, sequence, 'revision')}"),
        ("SHA-256", at(record, limit, "sha256")), ("SHA-256", at(record, sequence, "sha256")),
        ("released by, on", released), ("revision note", at(record, limit, "note")),
    ]
