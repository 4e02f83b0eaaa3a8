"""What stands behind the numbers: instruments, captures, steps, cautions, statements, record hash."""

from collections.abc import Mapping, Sequence
from hashlib import sha256
from typing import Any

import rfc8785

from station.certificate import fonts
from station.certificate.marks import INK
from station.certificate.sheet import LEFT, ROOM, Sheet
from station.certificate.summary import UNKNOWN, at
from station.errors import EvidenceError


def record_sha256(record: Mapping[str, Any]) -> str:
    """Return the SHA-256 of the record in canonical JSON, hexadecimal.

    Raises
    ------
    EvidenceError
        The record holds something that JSON cannot, such as NaN.

    Source: RFC 8785.
    """
    try:
        return sha256(rfc8785.dumps(dict(record))).hexdigest()
    except (rfc8785.CanonicalizationError, TypeError) as error:
        raise EvidenceError("the record cannot be written as canonical JSON", where="certificate",
                            expected="texts, finite numbers, true, false, null, lists and tables", got=error,
                            remedy="Find the room that put this value into the record.") from error


def closing(sheet: Sheet, record: Mapping[str, Any]) -> None:
    """Draw everything after the measurements."""
    bench = record.get("bench") or {}
    _grid(sheet, "Instruments",
          ("role", "maker", "model", "serial", "calibration certificate", "calibrated", "due"),
          (60, 82, 62, 78, 110, 60, 60),
          [[at(i, key) for key in ("role", "maker", "model", "serial", "certificate", "calibrated", "due")]
           for i in bench.get("instruments") or ()])
    _grid(sheet, "Captures", ("capture", "drive speed", "temperature", "SHA-256 of the capture file", "state"),
          (60, 52, 50, 245, 115), [_capture(c) for c in record.get("captures") or ()])
    steps = [s for s in record.get("steps") or () if s.get("outcome") != "done"]
    _grid(sheet, "Steps that were not done as planned", ("step", "outcome", "note"), (120, 60, 340),
          [[at(s, "name"), at(s, "outcome"), str(s.get("note") or "")] for s in steps])
    sheet.section("Cautions", keep=30)
    for caution in cautions(record):
        sheet.paragraph(f"• {caution}")
    sheet.section("Statements", keep=30)
    for statement in _statements(record):
        sheet.paragraph(f"• {statement}")


def cautions(record: Mapping[str, Any]) -> list[str]:
    """Return what can hurt a person at this motor or bench, with the numbers of this type."""
    hazards = record.get("hazards") or {}
    speed, insulation = hazards.get("speed_at_25_V_rms_rpm"), hazards.get("insulation_test_V")
    live = (f"above {speed:.0f} r/min they exceed 25 V rms line to line" if speed is not None
            else "the speed at which they exceed 25 V rms is not recorded: take them as live at any speed")
    texts = ["The shaft turns during the test and may be turned by hand or load afterwards.",
             f"The motor's terminals are live whenever the shaft spins; {live}."]
    if insulation is not None:
        texts.append(f"The insulation test puts {insulation:g} V on the winding; "
                     "it must be discharged before touch.")
    texts.append("Local codes and licensed practice come first. The software is not a safety function: "
                 "the hard-wired guard and emergency stop are.")
    return texts


def _statements(record: Mapping[str, Any]) -> list[str]:
    bench, software = record.get("bench") or {}, record.get("software") or {}
    texts = ["The results relate only to the motor named here. Reproduce this certificate in full only.",
             "± gives the expanded uncertainty U = k·u for a coverage probability of about 95 %: k = 2, and "
             "larger (Student's t, 95.45 %) where the degrees of freedom are few; U is rounded to two digits, to "
             "the nearest, more digits of the value only where the result needs them. "
             "\"±\u00a0?\" means that no uncertainty is known.",
             "Judged on unrounded values. \"accept\" gives the acceptance limits that the decision rule makes of "
             "tolerance and uncertainty. Angles are rotor electrical angles; speeds are signed, positive is "
             "forward."]
    if bench.get("simulated"):
        texts.append(f"Made on the embedded simulated bench, pace x{bench.get('pace') or 1:g}: "
                     "no motor was tested.")
    texts.append("Software: " + ", ".join(f"{name} {version}" for name, version in sorted(software.items()))
                 if software else f"Software: {UNKNOWN}")
    texts.append(f"Bench file: {at(bench, 'file')}, SHA-256 {at(bench, 'sha256')}")
    texts.append(f"SHA-256 of the record in canonical JSON (RFC 8785): {record_sha256(record)}")
    return texts


def _capture(capture: Mapping[str, Any]) -> list[str]:
    refused = capture.get("refused")
    state = f"refused: {refused.get('text') or refused.get('code')}" if refused else "used"
    return [at(capture, "label"), f"{at(capture, 'drive_speed_rpm')} r/min",
            f"{at(capture, 'temperature_degC')} °C", at(capture, "sha256"), state]


def _grid(sheet: Sheet, title: str, heads: Sequence[str], widths: Sequence[float],
          rows: Sequence[Sequence[str]]) -> None:
    """Draw a table of wrapped texts; `widths` in points, together no more than the page."""
    if not rows:
        return
    scale = (ROOM - 4) / sum(widths)
    wide = [w * scale for w in widths]
    starts = [LEFT + 2 + sum(wide[:i]) for i in range(len(wide))]

    def heading() -> None:
        sheet.y -= 8
        for x, head in zip(starts, heads, strict=True):
            sheet.text(x, sheet.y, head, 6, font=fonts.BOLD)
        sheet.y -= 2.5
        sheet.rule(colour=INK, width=0.6)

    sheet.section(title, keep=30)
    heading()
    sheet.heading = heading
    for row in rows:
        cells = [fonts.wrap(text, fonts.REGULAR, 6.0, w - 4) for text, w in zip(row, wide, strict=True)]
        height = 7.4 * max(map(len, cells))
        sheet.need(height)
        for x, lines in zip(starts, cells, strict=True):
            for number, line in enumerate(lines):
                sheet.text(x, sheet.y - 6 - 7.4 * number, line, 6.0)
        sheet.y -= height
    sheet.heading = None
