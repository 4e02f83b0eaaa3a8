"""What stands behind the numbers: instruments, captures, steps, cautions, statements, record hash."""

from collections.abc import Mapping
from typing import Any

from station.certificate.grids import Grid, draw_beside
from station.certificate.sheet import Sheet
from station.certificate.summary import UNKNOWN, at

DIGITS = 8      # of a hash, enough to tell one dialect file from another


def closing(sheet: Sheet, record: Mapping[str, Any], sha256_of_record: str) -> None:
    """Draw everything after the measurements."""
    captures = record.get("captures") or ()
    draw_beside(sheet, [_instruments(record), Grid("Calibrations extended in writing", (), (1,), _extensions(record))],
                [Grid("Captures", ("capture", "speed, temp.", "SHA-256 of the file"), (44, 46, 111),
                      [_capture(c) for c in captures])], share=0.605)
    refused = [[at(c, "label"), str(c["refused"].get("text") or c["refused"].get("code"))]
               for c in captures if c.get("refused") and _part(c)[0] == 1]
    steps = [[at(s, "name"), at(s, "outcome"), str(s.get("note") or "")]
             for s in record.get("steps") or () if s.get("outcome") != "done"]
    draw_beside(sheet, [Grid("Cautions", (), (1,), [[f"• {words}"] for words in cautions(record)]),
                        Grid("Captures that were refused", ("capture", "why"), (44, 136), refused),
                        Grid("Steps that were not done as planned", ("step", "outcome", "note"), (66, 32, 82), steps)],
                [Grid("Statements", (), (1,), [[f"• {words}"] for words in _statements(record, sha256_of_record)])],
                share=0.36)


def _instruments(record: Mapping[str, Any]) -> Grid:
    roles = ("role", "maker", "model", "serial", "certificate", "calibrated", "due")
    proof = (f", proved by reference check {at(record, 'reference_check', 'check')} of "
             f"{at(record, 'reference_check', 'ended')}" if record.get("reference_check") else "")
    return Grid(f"Instruments{proof}", ("role", "maker", "model", "serial", "calibration", "calibrated", "due"),
                (40, 55, 47, 43, 50, 38, 36),
                [[at(i, key) for key in roles] for i in (record.get("bench") or {}).get("instruments") or ()])


def _extensions(record: Mapping[str, Any]) -> list[list[str]]:
    """Return a line for each instrument whose calibration was extended: until when, by whom, why."""
    rows = (record.get("bench") or {}).get("instruments") or ()
    return [[f"{at(i, 'role')}: due {at(i, 'due')}, extended to {at(i, 'extension', 'until')} by "
             f"{at(i, 'extension', 'person')}: {at(i, 'extension', 'reason')}"] for i in rows if i.get("extension")]


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


def _statements(record: Mapping[str, Any], sha256_of_record: str) -> list[str]:
    bench, software = record.get("bench") or {}, record.get("software") or {}
    texts = ["The results relate only to the motor named here. Reproduce this certificate in full only.",
             "± gives the expanded uncertainty U = k·u for a coverage probability of about 95\u00a0%: k = 2, and "
             "larger (Student's t, 95.45\u00a0%) where the degrees of freedom are few; U is rounded to two digits, to "
             "the nearest, more digits of the value only where the result needs them. "
             "\"±\u00a0?\" means that no uncertainty is known.",
             "Judged on unrounded values. \"accept\" gives the acceptance limits that the decision rule makes of "
             "tolerance and uncertainty, once for a row or under each value. The column U of values without limits "
             "gives the largest U among the captures beside it.",
             "Angles are rotor electrical angles; speeds are signed, positive is forward."]
    parts = stitched_parts(record)
    if parts > 1:
        texts.append(f"Stitched, {parts} captures: lines and Hall sensors were not captured together. The captures of "
                     "each speed are joined in electrical angle on v_ab, which both hold; the row \"stitching\" of the "
                     "budgets is what their agreement leaves unsure of Hall angles.")
    if bench.get("generated"):
        texts.append(f"Generated, not tested: {bench['generated']}.")
    elif bench.get("simulated"):
        texts.append(f"Made on the embedded simulated bench, pace x{bench.get('pace') or 1:g}: "
                     "no motor was tested.")
    texts += [f"DOUBTFUL TIME: {at(flag, 'text')}" for flag in (record.get("clock") or {}).get("flags") or ()]
    texts.append(f"Software: {_versions(software)}" + (f"; this certificate: {_versions(software['renderer'])}"
                                                       if software.get("renderer") else ""))
    spoken = _dialects(bench)
    texts.append(f"Bench file: {at(bench, 'file')}, SHA-256 {at(bench, 'sha256')}"
                 + (f"; dialects: {spoken}" if spoken else ""))
    attached = (f". Attached to this file: the record, and the proof that it is entry {at(record, 'log', 'seq')} "
                f"of log {at(record, 'log', 'origin')}." if record.get("log") else "")
    texts.append(f"SHA-256 of the record (RFC 8785): {sha256_of_record}{attached}")
    return texts


def _versions(software: Mapping[str, Any]) -> str:
    """Return names and versions, hashes by their beginning."""
    return ", ".join(f"{name.removesuffix('_sha256')}\u00a0{version[:DIGITS] if len(version) == 64 else version}"
                     for name, version in sorted(software.items()) if isinstance(version, str)) or UNKNOWN


def _dialects(bench: Mapping[str, Any]) -> str:
    """Return which dialect each instrument was spoken to in, with the beginning of its hash."""
    return ", ".join(f"{_dialect(row)}\u00a0{str(row.get('dialect_sha256') or '')[:DIGITS] or UNKNOWN}"
                     for row in bench.get("instruments") or () if row.get("dialect"))


def _dialect(row: Mapping[str, Any]) -> str:
    """Return the name of the dialect, with the role where the name does not hold it."""
    name, role = str(row["dialect"]).removesuffix(".toml"), at(row, "role")
    return name if role in name else f"{role}\u00a0{name}"


def stitched_parts(record: Mapping[str, Any]) -> int:
    """Return how many captures were stitched for each label; 1 where all signals were captured together."""
    return max((_part(c)[1] for c in record.get("captures") or ()), default=1)


def _part(capture: Mapping[str, Any]) -> tuple[int, int]:
    """Return which part of how many stitched captures this one is."""
    number, parts = capture.get("part") or (1, 1)
    return int(number), int(parts)


def _capture(capture: Mapping[str, Any]) -> list[str]:
    number, parts = _part(capture)
    return [at(capture, "label") + (f", part {number} of {parts}" if parts > 1 else "")
            + (", refused" if capture.get("refused") else ""),
            f"{at(capture, 'drive_speed_rpm')}\u00a0r/min {at(capture, 'temperature_degC')}\u00a0°C",
            at(capture, "sha256")]
