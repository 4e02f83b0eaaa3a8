"""Records as a station stores them, with values drawn at random and judged by the scalar judge."""

from math import inf

from station.judgement.conclusion import REFUSALS_OF_THE_MOTOR
from station.judgement.judge import judge
from station.judgement.limit_file import parse_limits
from station.measurement import Measurement, Refusal
from station.record.record import interrupted_record
from station.record.store import Kept
from station.record.written import written, written_refusal, written_row
from station.toml_file import parse_toml
from station.units import RPM

LABELS = ("forward 1000", "reverse 1000")
STEP = {"name": "Back-drive", "kind": "back-drive", "outcome": "done", "started": "2026-11-25T10:00:00.000Z",
        "ended": "2026-11-25T10:00:20.000Z", "note": ""}
HEAD = """
format = 1
[type]
name = "CP-40"
pole_pairs = 4
winding = "star"
rated_voltage_V = 48.0
[sensors]
spacing_deg = 120
rise_deg = { a = 0.0, b = 120.0, c = 240.0 }
[decision]
rule = "%s"
[revision]
number = "%s"
%s[limits]
"""


def limits_of(lines, rule="guarded", number="A", released=True):
    by = 'released_by = "Line engineering"\nreleased_on = 2026-11-02\n' if released else ""
    text = HEAD % (rule, number, by) + "\n".join(lines) + "\n"
    return parse_limits(parse_toml(text.encode(), f"cp-40-{number}.toml"))


def limit_line(key, lower=None, upper=None, unit="deg"):
    bounds = "".join(f", {name} = {bound!r}" for name, bound in (("lower", lower), ("upper", upper))
                     if bound is not None)
    return f'"{key}" = {{ unit = "{unit}"{bounds} }}'


def record_of(serial, measured, limits, *, started="2026-11-25T10:00:00.000Z", refused=None, trouble=False,
              taken=LABELS, purpose="", unit="deg", station="EOL-1"):
    """Return a record; `measured` holds (value, u) by name and label, `refused` the code by label."""
    refusals = {label: Refusal(code, code) for label, code in (refused or {}).items()}
    found = {key: Measurement(key[0], value, unit, u, inf) for key, (value, u) in measured.items()}
    said = judge(found, LABELS, limits, refusals, motor_faults=REFUSALS_OF_THE_MOTOR)
    captures = [{"label": label, "declared_speed_rpm": 1000.0, "drive_speed_rpm": 1000 * RPM, "temperature_degC": 23.0,
                 "refused": written_refusal(refusals.get(label))} for label in taken]
    return {
        **interrupted_record(serial, started, started, {}), "captures": captures, "steps": [STEP],
        "station": {"id": station, "place": "Varnholt Works"}, "conditions": {"ambient_temperature_degC": 23.5},
        "motor_type": {**interrupted_record(serial, started, started, {})["motor_type"], "name": "CP-40"},
        "limit_file": {"name": limits.name, "revision": limits.revision.number, "sha256": limits.sha256, "note": "",
                       "released_by": None, "released_on": None},
        "sequence": {"name": "standard", "revision": "A", "sha256": "5" * 64},
        "measurements": [written(m, label) for (_, label), m in found.items()],
        "judged": [written_row(row) for row in said.rows],
        "verdict": "NO RESULT" if trouble else str(said.verdict),
        "reason": "The test could not finish: guard opened" if trouble else said.reason,
        **({"purpose": purpose} if purpose else {}),
    }


def store_record(store, record):
    run = store.begin(record["serial"], started=record["started"],
                      heading={"purpose": record["purpose"]} if "purpose" in record else None)
    kept = [Kept(f"captures/{run}-{k}.parquet", "0" * 64, "0" * 64) for k in range(len(record["captures"]))]
    return store.finish(run, record, kept)
