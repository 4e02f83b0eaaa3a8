"""Builds records of an invented plant, full enough to print."""

from math import pi, sin
from typing import Any

import numpy as np

from station.characteristic import CHARACTERISTICS
from station.toml_file import parse_toml

CAPTURES = ("forward 750", "forward 1500", "reverse 750", "reverse 1500")
UNLIMITED = {"speed": 1500.0, "electrical_frequency": 100.0, "back_emf_constant_peak": 10.0,
             "back_emf_constant_fundamental": 10.0, "back_emf_constant_rms": 7.07, "flux_linkage": 24.06,
             "harmonic_5": 0.5956, "harmonic_7": 0.3939, "flat_top": 41.3, "hall_sector_1": 60.05,
             "hall_transition": 5.4, "hall_angle_rise": 301.2, "hall_angle_fall": 121.3,
             "commutated_torque_constant": 0.0924}
EXACT = ("hall_edges_per_revolution", "phase_order", "hall_order", "hall_forbidden", "hall_missing", "hall_bounce")


def sample_record(limits: bytes, **changes: Any) -> dict[str, Any]:
    """Return a passing record of the motor type in the limit file `limits`, with `changes` on top."""
    rng = np.random.default_rng(7)
    table = parse_toml(limits, "cp-40.toml").tables["limits"]
    measurements = [_measurement(name, c.unit, label, table.get(name) or table.get(c.name) or {}, rng)
                    for c in CHARACTERISTICS for name in c.full_names()
                    for label in (CAPTURES if c.scope == "capture" or c.name == "drag_torque" else ("",))]
    judged = [_judged(key, limit, m) for key, limit in table.items() for m in measurements
              if m["name"] == key or (m["name"].rpartition(".")[0] == key and not m["name"].endswith(".mean"))]
    angle = [float(a) for a in range(0, 361, 2)]
    record: dict[str, Any] = {
        "format": 1, "serial": "CP40-0001", "run": 1, "runs_allowed": 2,
        "station": {"id": "L2-EOL1", "place": "Werk Süd, Halle 4, Prüfplatz 1"}, "operator": "op-17",
        "started": "2026-11-25T08:14:03Z", "ended": "2026-11-25T08:14:41Z",
        "motor_type": {"name": "CP-40", "pole_pairs": 4, "winding": "star", "rated_voltage_V": 48.0,
                       "forward": "clockwise", "viewed_from": "drive end", "spacing_deg": 120},
        "limit_file": {"name": "cp-40.toml", "revision": "A", "sha256": "3c" * 32, "note": "First release.",
                       "released_by": "Line engineering", "released_on": "2026-11-02"},
        "sequence": {"name": "back_drive", "revision": "B", "sha256": "9f" * 32},
        "bench": {"file": "bench-l2.toml", "sha256": "51" * 32, "simulated": False, "pace": 1.0,
                  "instruments": [_instrument(role) for role in (
                      "drive", "digitizer", "ohmmeter", "supply", "insulation", "thermometer", "guard")]},
        "software": {"station": "0.1.0", "python": "3.11.7", "numpy": "2.4.6"},
        "conditions": {"ambient_temperature_degC": 22.9, "winding_temperature_degC": 23.4, "sensor_supply_V": 5.0},
        "decision": {"rule": "guarded", "guard_factor": 1.65, "sentence":
                     "A value passes if it lies within its limits by at least 1.65 standard uncertainties."},
        "steps": [{"name": "spin", "kind": "back_drive", "outcome": "done", "note": ""}],
        "captures": [{"label": label, "file": f"captures/{i}.parquet", "sha256": f"{i}e" * 32,
                      "drive_speed_rpm": (-1 if "reverse" in label else 1) * (float(label.split()[1]) - 0.8),
                      "temperature_degC": 23.4, "refused": None} for i, label in enumerate(CAPTURES)],
        "measurements": measurements, "judged": judged, "findings": [], "verdict": "PASS",
        "reason": "All 165 judged values lie within their acceptance limits.",
        "plots": [{"label": "forward 1500", "angle_deg": angle,
                   "volts_per_krpm": {line: [10 * sin((a - shift) * pi / 180) for a in angle]
                                      for line, shift in (("ab", 0), ("bc", 120), ("ca", 240))},
                   "hall_high": {"a": [0.4, 180.9], "b": [119.2, 300.1], "c": [240.6, 60.2]}}],
        "hazards": {"speed_at_25_V_rms_rpm": 3536.0, "insulation_test_V": 500.0},
    }
    return record | changes


def failed(record: dict[str, Any], name: str, value: float | None, result: str) -> dict[str, Any]:
    """Return the record with every judged row of `name` given another value and result."""
    judged = [j | {"value": value, "u": None if value is None else j["u"], "result": result,
                   "zone": "not measured" if value is None else "outside limits"}
              if j["name"] == name else j for j in record["judged"]]
    return record | {"judged": judged, "verdict": result, "reason": f"{name} did not pass."}


def bad_record(limits: bytes, **changes: Any) -> dict[str, Any]:
    """Return a record in which four characteristics fail in each of four captures, with a cause and a failed step."""
    record = sample_record(limits, **changes)
    for name, value in (("hall_placement.b", 10.301), ("hall_sector_min", 50.487), ("hall_sector_max", 69.213),
                        ("commutated_torque_ripple", 33.498)):
        record = failed(record, name, value, "FAIL")
    return record | {
        "reason": "16 of 177 values fail: hall_placement.b at forward 750, hall_placement.b at forward 1500, "
                  "hall_placement.b at reverse 750 and 13 more.",
        "findings": [{"code": "hall_position", "text": "Hall sensor B switches +9.2 degrees from its place between "
                                                       "the two others, which agree within 0.3 degrees."}],
        "steps": [{"name": "Back-drive", "kind": "back-drive", "outcome": "failed", "note": ""}]}


def with_uneven_acceptance(record: dict[str, Any]) -> dict[str, Any]:
    """Return the record with acceptance limits that no two captures share, the longest table there can be."""
    inward = {"acceptance_lower": 1, "acceptance_upper": -1}
    judged = [j | {end: j[end] + sign * CAPTURES.index(j["label"]) * j["u"] for end, sign in inward.items()
                   if j["label"] and j[end] is not None} for j in record["judged"]]
    return record | {"judged": judged}


def _measurement(name: str, unit: str, label: str, limit: dict[str, Any], rng: np.random.Generator) -> dict[str, Any]:
    plain = name.rpartition(".")[0] or name
    exact = plain in EXACT
    nominal = _middle(limit, UNLIMITED.get(plain, 0.0 if exact else 0.00031))
    value = nominal if exact else nominal * (1 + 0.0004 * float(rng.standard_normal()))
    u = 0.0 if exact else abs(nominal) * 0.0009 + 0.00035
    if name.startswith(("hall_", "phase_angle", "thd", "drag")):  # not the same at both speeds, so nor are the limits
        u *= 2.0 if "1500" in label else 1.0 + 0.02 * float(rng.standard_normal())
    return {"name": name, "label": label, "value": value, "u": u,
            "dof": None if exact else 180.0, "unit": unit, "budget": []}


def _middle(limit: dict[str, Any], without: float) -> float:
    """A value well within the limits, or `without` where there are none."""
    lower, upper = limit.get("lower"), limit.get("upper")
    if lower is not None and upper is not None:
        return float(lower + upper) / 2
    if lower is not None:
        return 1.09 * float(lower)
    return without if upper is None else 0.36 * float(upper)


def _judged(key: str, limit: dict[str, Any], m: dict[str, Any]) -> dict[str, Any]:
    lower, upper = limit.get("lower"), limit.get("upper")
    return {"key": key, **{k: m[k] for k in ("name", "label", "unit", "value", "u")},
            "lower": lower, "upper": upper, "result": "PASS", "zone": "within",
            "acceptance_lower": None if lower is None else lower + 1.65 * m["u"],
            "acceptance_upper": None if upper is None else upper - 1.65 * m["u"]}


def _instrument(role: str) -> dict[str, str]:
    return {"role": role, "maker": "Musterwerk", "model": f"M-{role[:3].upper()}", "serial": f"SN-{role[:3]}-0042",
            "firmware": "1.4", "certificate": f"CAL-{role[:3]}", "calibrated": "2026-01-10", "due": "2027-01-10"}
