"""An instrument was found to be off: what its motors measure without that error, and whose verdict changes.

An error is what the instrument indicated less what was true, as a calibration certificate states it. Values are
corrected by what each depends on; their uncertainties stay, as they were claimed without knowing of the error.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from station.analysis.winding import at_temperature
from station.audit.stored import Measured, kept_limits, kept_sequence, stored_measurements, stored_refusals
from station.audit.trace import Question, fitting, instruments_of
from station.errors import EvidenceError
from station.judgement.conclusion import REFUSALS_OF_THE_MOTOR
from station.judgement.judge import INSIDE, JudgedRow, judge
from station.judgement.limit_file import LimitFile
from station.motor import LINES
from station.record.trouble import is_trouble
from station.units import from_si

_BACK_EMF = ("back_emf_constant_peak", "back_emf_constant_fundamental", "back_emf_constant_rms", "flux_linkage",
             "commutated_torque_constant")
_HALL_VOLTS = ("hall_high", "hall_low")

# By role: characteristics that grow with the instrument's gain, by which power, and with how its time runs.
# Derived: back-EMF constants are volts per speed, flux linkage is volts times time, speed is an angle over time.
_GAIN: Mapping[str, Mapping[str, int]] = {
    "digitizer": dict.fromkeys((*_BACK_EMF, "back_emf_offset", *_HALL_VOLTS), 1),
    "sensor_digitizer": dict.fromkeys(_HALL_VOLTS, 1), "ohmmeter": {"winding_resistance": 1},
    "insulation": {"insulation_resistance": 1}, "supply": {"sensor_supply_current": 1}, "drive": {"drag_torque": 1}}
_TIME: Mapping[str, Mapping[str, int]] = {
    "digitizer": {**dict.fromkeys((*_BACK_EMF, "hall_transition"), 1), "speed": -1, "electrical_frequency": -1},
    "sensor_digitizer": {"hall_transition": 1}}
# Characteristics that an offset of the instrument shifts.
_OFFSET: Mapping[str, tuple[str, ...]] = {
    "digitizer": ("back_emf_offset", *_HALL_VOLTS), "sensor_digitizer": _HALL_VOLTS,
    "ohmmeter": ("winding_resistance",), "insulation": ("insulation_resistance",),
    "supply": ("sensor_supply_current",), "drive": ("drag_torque",), "thermometer": ()}


@dataclass(frozen=True, slots=True)
class InstrumentError:
    """How far an instrument was off: relative gain and time, offset in SI (for a thermometer, K)."""

    gain: float = 0.0
    timebase: float = 0.0       # what it took for a second lasted 1 / (1 + timebase) s
    offset: float = 0.0


@dataclass(frozen=True, slots=True)
class Changed:
    """One judged value before and after the correction."""

    name: str
    label: str
    unit: str
    before: float | None
    after: float | None
    result_before: str
    result_after: str


@dataclass(frozen=True, slots=True)
class Recalled:
    """One test made with the instrument; `changed` holds the judged values whose result or standing changes."""

    serial: str
    run: int
    started: str
    verdict_before: str
    verdict_after: str
    changed: tuple[Changed, ...]

    @property
    def outcome(self) -> str:
        """Say "flips", "doubtful" where only the standing of a value changes, or "stands"."""
        if self.verdict_before != self.verdict_after:
            return "flips"
        return "doubtful" if self.changed else "stands"

    def as_json(self) -> dict[str, Any]:
        """Return it as `--json` prints it."""
        return {"serial": self.serial, "run": self.run, "started": self.started, "outcome": self.outcome,
                "verdict_before": self.verdict_before, "verdict_after": self.verdict_after,
                "changed": [{"name": c.name, "label": c.label, "unit": c.unit, "before": c.before, "after": c.after,
                             "result_before": c.result_before, "result_after": c.result_after} for c in self.changed]}


def recall(store: Path, question: Question, error: InstrumentError) -> Iterator[Recalled]:
    """Yield every test made with the instrument in question, judged again without its error.

    Raises
    ------
    EvidenceError
        A record or kept file was altered, or a limit file was not kept: nothing can be told then.
    """
    for record in fitting(store, question):
        limits, sequence = kept_limits(record, store), kept_sequence(record, store)
        if limits is None or sequence is None:
            raise EvidenceError("test cannot be judged again", where=f"{record['serial']} run {record['run']}",
                                expected="its limit file and sequence in the store", got="not kept",
                                remedy="Restore the files, or leave such tests out by --since.")
        yield _recalled(record, limits, sequence.labels(), instruments_of(record, question), error)


def _recalled(record: dict[str, Any], limits: LimitFile, labels: list[str], instruments: list[dict[str, Any]],
              error: InstrumentError) -> Recalled:
    measured = stored_measurements(record)
    corrected = measured
    for instrument in instruments:
        corrected = correct(corrected, record, limits, str(instrument["role"]), error)
    refused = stored_refusals(record)
    before, after = (judge(each, labels, limits, refused, motor_faults=REFUSALS_OF_THE_MOTOR)
                     for each in (measured, corrected))
    changed = tuple(_changed(one, other) for one, other in zip(before.rows, after.rows, strict=True)
                    if (one.result, _is_sure(one)) != (other.result, _is_sure(other)))
    verdict = record["verdict"] if is_trouble(record) else str(after.verdict)
    return Recalled(record["serial"], record["run"], record["started"], record["verdict"], verdict, changed)


def correct(measured: Measured, record: Mapping[str, Any], limits: LimitFile, role: str, error: InstrumentError
            ) -> Measured:
    """Return the measurements without the error of the instrument in `role`."""
    gain, time = _GAIN.get(role, {}), _TIME.get(role, {})
    found = dict(measured)
    for (name, label), m in measured.items():
        plain = name.partition(".")[0]
        value = m.value
        if plain in _OFFSET.get(role, ()):
            value -= _offset(plain, m.unit, record, limits, error.offset)
        value /= (1 + error.gain) ** gain.get(plain, 0) * (1 + error.timebase) ** time.get(plain, 0)
        if role == "thermometer":
            value *= _warmth(plain, label, record, limits, error.offset)
        if value != m.value:
            found[name, label] = replace(m, value=value)
    return _with_spread(found) if role == "ohmmeter" else found


def _offset(plain: str, unit: str, record: Mapping[str, Any], limits: LimitFile, offset: float) -> float:
    """Return what an offset of the indication makes of a characteristic, in its unit."""
    if plain != "winding_resistance":
        return from_si(offset, unit)
    reference = limits.motor_type.reference
    return at_temperature(offset, record["conditions"]["winding_temperature_degC"], reference.temperature_c,
                          reference.copper_constant_c)


def _warmth(plain: str, label: str, record: Mapping[str, Any], limits: LimitFile, offset: float) -> float:
    """Return by what a value at the reference temperature grows when the motor was `offset` colder than indicated.

    Source: K(Tref) = K(T) / (1 + magnet_per_K (T - Tref)), R(Tref) = R(T) (k + Tref) / (k + T).
    """
    reference = limits.motor_type.reference
    if plain == "winding_resistance":
        indicated = record["conditions"]["winding_temperature_degC"] + reference.copper_constant_c
        return float(indicated / (indicated - offset))
    if plain not in _BACK_EMF:
        return 1.0
    above = next(capture["temperature_degC"] for capture in record["captures"] if capture["label"] == label)
    above -= reference.temperature_c
    return float((1 + reference.magnet_per_k * above) / (1 + reference.magnet_per_k * (above - offset)))


def _with_spread(measured: Measured) -> Measured:
    """Return the measurements with the spread that the corrected resistances have."""
    lines = [measured.get((f"winding_resistance.{line}", "")) for line in LINES]
    spread = measured.get(("winding_resistance_spread", ""))
    values = [line.value for line in lines if line is not None]
    if spread is None or len(values) < len(LINES):
        return measured
    mean = sum(values) / len(values)
    again = 100 * max(abs(value - mean) for value in values) / mean
    return {**measured, ("winding_resistance_spread", ""): replace(spread, value=again)}


def _is_sure(row: JudgedRow) -> bool:
    return row.zone == INSIDE


def _changed(before: JudgedRow, after: JudgedRow) -> Changed:
    return Changed(before.name, before.label, before.unit, before.value, after.value, str(before.result),
                   str(after.result))
