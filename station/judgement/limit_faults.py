"""What a limit file may say wrongly although its form is right: names, units, bounds, sensors."""

from collections.abc import Iterator, Mapping
from difflib import get_close_matches
from typing import Any

from station.characteristic import BY_FULL_NAME, Characteristic, characteristic_of
from station.errors import Fault, UsageError
from station.judgement.limit_key import is_label, read_key
from station.judgement.rule_faults import find_rule_faults
from station.toml_file import TomlSource
from station.units import factor

ANGLE_TOLERANCE_DEG = 0.5  # declared sensor angles are nominal; any larger deviation is a slip of the pen


def find_faults(source: TomlSource) -> list[Fault]:
    """Return every breach of meaning in the tables of `source`; breaches of form are left to pydantic."""
    tables = source.tables
    faults = [*_sensor_angle_faults(source.name, tables.get("sensors")),
              *_release_faults(source.name, tables.get("revision")), *find_rule_faults(source.name, tables)]
    limits = tables.get("limits")
    if isinstance(limits, dict):
        if not limits:
            faults.append(Fault(source.name, "limits", "no entry", "at least one limit",
                                "Add a limit: without one no motor can pass."))
        for key, entry in limits.items():
            faults += _limit_faults(source.name, key, entry, has_sensors="sensors" in tables)
    return faults


def _limit_faults(file: str, key: str, entry: object, *, has_sensors: bool) -> Iterator[Fault]:
    at = f"limits.{key}"
    name, label = read_key(key)
    characteristic = characteristic_of(name)
    if characteristic is None:
        yield Fault(file, at, repr(name), "the name of a characteristic", _suggestion(name))
    else:
        if label is not None:
            yield from _label_faults(file, at, label, characteristic)
        if not has_sensors and needs_sensors(characteristic.name):
            yield Fault(file, at, "a limit on the Hall sensors", "[sensors] in this file",
                        "Add [sensors], or remove the limit for a motor without sensors.")
    if isinstance(entry, dict):
        yield from _bound_faults(file, at, entry)
        if characteristic is not None and isinstance(entry.get("unit"), str):
            yield from _unit_faults(file, at, entry["unit"], characteristic.unit)


def needs_sensors(name: str) -> bool:
    """Return whether the characteristic exists only on a motor with Hall sensors."""
    return name.startswith(("hall_", "commutated_", "sensor_"))


def _suggestion(name: str) -> str:
    near = get_close_matches(name, BY_FULL_NAME, n=1, cutoff=0.5)
    return f"Did you mean {near[0]!r}?" if near else "Spell it as `station analyse --json` does."


def _label_faults(file: str, at: str, label: str, characteristic: Characteristic) -> Iterator[Fault]:
    if not is_label(label):
        yield Fault(file, at, repr(label), "a capture such as 'forward 1500' after the @",
                    "Give the direction and the declared r/min.")
    elif characteristic.scope != "capture":
        yield Fault(file, at, f"@{label}", "no capture: this is not measured in one capture",
                    f"Write {characteristic.name!r} without the @.")


def _bound_faults(file: str, at: str, entry: Mapping[str, Any]) -> Iterator[Fault]:
    lower, upper = entry.get("lower"), entry.get("upper")
    members = [member for member, inner in entry.items() if isinstance(inner, dict)]
    if members:  # TOML reads an unquoted dot as a table inside a table
        full = f"{at.removeprefix('limits.')}.{members[0]}"
        yield Fault(file, at, "a table inside", "unit, lower, upper", f'Quote the key: "{full}" = ...')
    elif lower is None and upper is None:
        yield Fault(file, at, "no limit at all", "lower, upper or both", "Add one, or remove the entry.")
    elif isinstance(lower, int | float) and isinstance(upper, int | float) and lower > upper:
        yield Fault(file, at, f"lower {lower} above upper {upper}", "lower at most upper", "Exchange them.")


def _is_number(bound: object) -> bool:
    return isinstance(bound, int | float) and not isinstance(bound, bool)


def _unit_faults(file: str, at: str, unit: str, own_unit: str) -> Iterator[Fault]:
    try:
        factor(unit, own_unit)
    except UsageError as error:
        yield Fault(file, f"{at}.unit", repr(unit), f"{own_unit!r} or a unit of the same dimension", error.remedy)


def _sensor_angle_faults(file: str, sensors: object) -> Iterator[Fault]:
    """Yield a fault if the three declared angles do not stand `spacing_deg` apart."""
    if not isinstance(sensors, dict) or not isinstance(sensors.get("rise_deg"), dict):
        return
    spacing, rise = sensors.get("spacing_deg"), sensors["rise_deg"]
    angles = [rise.get(sensor) for sensor in "abc"]
    if spacing not in (60, 120) or not all(_is_number(angle) for angle in angles):
        return
    first, second, third = sorted(angle % 360 for angle in angles)
    gaps = sorted((second - first, third - second, first + 360 - third))
    wanted = [120, 120, 120] if spacing == 120 else [60, 60, 240]
    if any(abs(gap - want) > ANGLE_TOLERANCE_DEG for gap, want in zip(gaps, wanted, strict=True)):
        yield Fault(file, "sensors.rise_deg", ", ".join(f"{angle:g}" for angle in angles),
                    f"three angles {spacing} degrees apart", "Correct the angles or spacing_deg.")


def _release_faults(file: str, revision: object) -> Iterator[Fault]:
    if isinstance(revision, dict) and ("released_by" in revision) != ("released_on" in revision):
        missing = "released_on" if "released_by" in revision else "released_by"
        yield Fault(file, f"revision.{missing}", "nothing", "released_by and released_on, or neither",
                    "Say who released it and when, or leave both out for a draft.")
