"""Whether each instrument was in calibration on the day of a test, and is the one that the bench file names."""

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from station.audit.finding import Report, Severity, Step
from station.audit.ledger import Logged
from station.record.kept_files import FILES

ASK = "Do not rely on the record; ask who changed it."


def audit_calibrations(said: Mapping[str, Any], each: Logged, report: Report) -> None:
    """Audit the calibration of each instrument of a record against the day of its test.

    A run without result, as the station gives it where it refuses to measure so, is none to rely on anyway.
    """
    day = str(said["started"])[:10]
    doubt = Severity.NOTE if said["verdict"] == "NO RESULT" else Severity.DOUBTFUL
    for instrument in said["bench"]["instruments"]:
        extended = (instrument.get("extension") or {}).get("until", "")
        last = max(instrument["due"], extended)
        where = f"{instrument['role']} {instrument['serial']}, {each.name}"
        if not instrument["calibrated"] <= day <= last:
            report.find("calibration.expired", doubt, "instrument was not in calibration", where=where,
                        since=each.since, expected=f"a test from {instrument['calibrated']} to {last}", got=day,
                        remedy=f"Have certificate {instrument['certificate']} followed up; if the instrument was off, "
                        "see what that does to its motors with `station audit recall`.")
            continue
        report.hold(Step.CALIBRATION)
        if day > instrument["due"]:
            report.find("calibration.extended", Severity.NOTE, "calibration was extended in writing", where=where,
                        since=each.since, expected=f"a test up to {instrument['due']}",
                        got=f"{day}, extended to {extended} by {instrument['extension'].get('person')}",
                        remedy="None, if the reason given satisfies: " + str(instrument["extension"].get("reason")))


def audit_bench_file(said: Mapping[str, Any], store: Path, each: Logged, report: Report) -> None:
    """Audit the instruments of a record against the bench file kept with it."""
    path = store / FILES / said["bench"]["sha256"]
    try:
        tables = tomllib.loads(path.read_text(encoding="utf-8"))["instruments"]
        wanted = {role: _told(table) for role, table in tables.items()}
    except (OSError, ValueError, KeyError, TypeError):
        report.leave_out(Step.CALIBRATION, "the bench file was not kept")
        return
    for instrument in said["bench"]["instruments"]:
        got = {"serial": instrument["serial"], "certificate": instrument["certificate"],
               "date": instrument["calibrated"], "due": instrument["due"]}
        expected = wanted.get(instrument["role"])
        if got == expected:
            report.hold(Step.CALIBRATION)
        else:
            report.find("calibration.differs", Severity.BROKEN, "instrument is not as in the bench file",
                        where=f"{instrument['role']}, {each.name}", since=each.since, expected=expected, got=got,
                        remedy=ASK)


def _told(table: Mapping[str, Any]) -> dict[str, str]:
    calibration = table["calibration"]
    return {"serial": str(table["identity"]["serial"]), "certificate": str(calibration["certificate"]),
            "date": str(calibration["date"]), "due": str(calibration["due"])}
