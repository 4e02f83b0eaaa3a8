"""One motor as it left the line: its type, the small differences of a good unit, and its defects."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from hashlib import sha256
from typing import Any

import numpy as np
from numpy.typing import NDArray

from station.motor import SENSORS
from station.simulated.defect import (
    CoilReversed,
    CouplingSlips,
    EccentricSensorRing,
    HallBoardRotated,
    HallBounce,
    HallDisplaced,
    HallInverted,
    HallLoose,
    HallStuck,
    HallSupplyLost,
    HallWires,
    HighDrag,
    HighResistanceJoint,
    LeadsMovedRound,
    LeadsSwapped,
    LooseContact,
    LowInsulation,
    OpenPhase,
    ReversedMagnet,
    ReversedPhase,
    RotorEccentric,
    ShortedPhase,
    ShortedTurns,
    WeakLatch,
    WeakMagnets,
    WeakPole,
    WeakSensorRing,
    WrongPoleCount,
    WrongTurns,
)
from station.simulated.hall_sensor import HallSensor
from station.simulated.lot import LotMotor, MotorBuild
from station.simulated.winding import Windings

SPREAD_END = 2.5   # differences beyond so many standard deviations do not leave the maker's own inspection


@dataclass(frozen=True, slots=True)
class AsBuilt:
    """Everything that makes this unit what it is, at 20 °C."""

    pole_pairs: int
    strength: float                       # of all magnets, 1 nominal
    poles: NDArray[np.float64]            # (2 pole_pairs,) strength of each pole
    windings: Windings
    sensors: tuple[HallSensor, HallSensor, HallSensor]
    sensor_order: tuple[int, int, int]    # which sensor is wired to inputs a, b, c
    sensors_powered: bool
    insulation: float                     # ohm
    drag_factor: float
    shorted_share: float                  # of the turns of a phase, bridged
    loose_lead: int | None
    loose_sensor: int | None = None       # whose wire loses contact now and then
    ring: float = 1.0                     # field at the sensors, 1 nominal
    slip: float = 0.0                     # share by which the rotor turns slower than the drive


def as_built(build: MotorBuild, motor: LotMotor, seed: int) -> AsBuilt:
    """Return the unit with its random differences (the same for the same serial and seed) and defects."""
    digest = int.from_bytes(sha256(motor.serial.encode()).digest()[:8], "big")
    unit = _good_unit(build, np.random.default_rng([seed, digest]))
    for defect in motor.defects:
        unit = _APPLY[defect.kind](unit, defect)
    return unit


def _good_unit(build: MotorBuild, random: np.random.Generator) -> AsBuilt:
    def spread(size: float, count: int) -> NDArray[np.float64]:
        drawn = random.standard_normal(count)
        return np.asarray(build.spread * size * np.clip(drawn, -SPREAD_END, SPREAD_END))

    poles = 1.0 + spread(0.004, 2 * build.pole_pairs)
    resistance = build.line_resistance_ohm * (0.5 if build.winding == "star" else 1.5)
    resistances = resistance * (1.0 + spread(0.004, 1) + spread(0.002, 3))
    gains = 1.0 + spread(0.001, 3)
    rises = np.array([build.sensor_rise_deg.a, build.sensor_rise_deg.b, build.sensor_rise_deg.c])
    rises = rises + spread(0.4, 3)
    asymmetry = spread(0.002, 3)
    hysteresis = build.sensor_hysteresis
    sensors = [HallSensor(float(rise), hysteresis + float(shift), -hysteresis + float(shift))
               for rise, shift in zip(rises, asymmetry, strict=True)]
    return AsBuilt(
        pole_pairs=build.pole_pairs, strength=float(1.0 + spread(0.005, 1)[0]), poles=poles / poles.mean(),
        windings=Windings(build.winding, _three(resistances), _three(gains)),
        sensors=(sensors[0], sensors[1], sensors[2]), sensor_order=(0, 1, 2), sensors_powered=True,
        insulation=build.insulation_megohm * 1e6 * float(np.exp(spread(0.2, 1)[0])), drag_factor=1.0,
        shorted_share=0.0, loose_lead=None)


def _three(values: NDArray[np.float64]) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])


# --- magnets ---
def _weak_magnets(unit: AsBuilt, defect: WeakMagnets) -> AsBuilt:
    return replace(unit, strength=unit.strength * (1 - defect.share))


def _weak_pole(unit: AsBuilt, defect: WeakPole) -> AsBuilt:
    return replace(unit, poles=_scaled(unit.poles, 1, 1 - defect.share))


def _reversed_magnet(unit: AsBuilt, _: ReversedMagnet) -> AsBuilt:
    return replace(unit, poles=_scaled(unit.poles, 1, -1.0))


def _wrong_pole_count(unit: AsBuilt, defect: WrongPoleCount) -> AsBuilt:
    # The board keeps its mechanical place, so its electrical angles grow with the pole count.
    ratio = defect.pole_pairs / unit.pole_pairs
    moved = [replace(sensor, rise_deg=sensor.rise_deg * ratio) for sensor in unit.sensors]
    return replace(unit, pole_pairs=defect.pole_pairs, poles=np.resize(unit.poles, 2 * defect.pole_pairs),
                   sensors=(moved[0], moved[1], moved[2]))


# --- winding ---
def _winding(unit: AsBuilt, phase: str, **factors: float) -> AsBuilt:
    windings, index = unit.windings, SENSORS.index(phase)
    changed = {name: _three(_scaled(np.array(getattr(windings, name)), index, factor))
               for name, factor in factors.items()}
    return replace(unit, windings=replace(windings, **changed))  # type: ignore[arg-type]


def _shorted_turns(unit: AsBuilt, defect: ShortedTurns) -> AsBuilt:
    # First order: the turns that are left carry their own voltage; reaction of the bridged loop is neglected.
    left = 1 - defect.share
    return replace(_winding(unit, defect.phase, gain=left, resistance=left), shorted_share=defect.share)


def _open_phase(unit: AsBuilt, defect: OpenPhase) -> AsBuilt:
    return replace(unit, windings=replace(unit.windings, open_phase=SENSORS.index(defect.phase)))


def _coil_reversed(unit: AsBuilt, defect: CoilReversed) -> AsBuilt:
    return _winding(unit, defect.phase, gain=1 - 2 * defect.share)


def _wrong_turns(unit: AsBuilt, defect: WrongTurns) -> AsBuilt:
    # More turns in the same slot are thinner as well as longer.
    for phase in SENSORS:
        unit = _winding(unit, phase, gain=defect.factor, resistance=defect.factor**2)
    return unit


def _shorted_phase(unit: AsBuilt, defect: ShortedPhase) -> AsBuilt:
    return _winding(unit, defect.phase, gain=0.0, resistance=1e-3, impedance=0.0)


def _reversed_phase(unit: AsBuilt, defect: ReversedPhase) -> AsBuilt:
    return _winding(unit, defect.phase, gain=-1.0)


def _leads_swapped(unit: AsBuilt, defect: LeadsSwapped) -> AsBuilt:
    first, second = (SENSORS.index(lead) for lead in defect.pair)
    leads = list(unit.windings.leads)
    leads[first], leads[second] = leads[second], leads[first]
    return replace(unit, windings=replace(unit.windings, leads=(leads[0], leads[1], leads[2])))


def _leads_moved_round(unit: AsBuilt, defect: LeadsMovedRound) -> AsBuilt:
    leads = [unit.windings.leads[SENSORS.index(name)] for name in defect.order]
    return replace(unit, windings=replace(unit.windings, leads=(leads[0], leads[1], leads[2])))


def _high_resistance_joint(unit: AsBuilt, defect: HighResistanceJoint) -> AsBuilt:
    joints = np.array(unit.windings.joints)
    joints[SENSORS.index(defect.lead)] += defect.ohm
    return replace(unit, windings=replace(unit.windings, joints=_three(joints)))


# --- sensors ---
def _sensor(unit: AsBuilt, names: str, change: Callable[[HallSensor], HallSensor]) -> AsBuilt:
    changed = [change(sensor) if name in names else sensor
               for name, sensor in zip(SENSORS, unit.sensors, strict=True)]
    return replace(unit, sensors=(changed[0], changed[1], changed[2]))


def _hall_wires(unit: AsBuilt, defect: HallWires) -> AsBuilt:
    order = [unit.sensor_order[SENSORS.index(name)] for name in defect.order]
    return replace(unit, sensor_order=(order[0], order[1], order[2]))


def _hall_inverted(unit: AsBuilt, defect: HallInverted) -> AsBuilt:
    return _sensor(unit, "".join(defect.sensors), lambda s: replace(s, inverted=not s.inverted))


def _hall_displaced(unit: AsBuilt, defect: HallDisplaced) -> AsBuilt:
    return _sensor(unit, defect.sensor, lambda s: replace(s, rise_deg=s.rise_deg + defect.deg))


def _hall_board_rotated(unit: AsBuilt, defect: HallBoardRotated) -> AsBuilt:
    return _sensor(unit, "abc", lambda s: replace(s, rise_deg=s.rise_deg + defect.deg))


def _hall_stuck(unit: AsBuilt, defect: HallStuck) -> AsBuilt:
    return _sensor(unit, defect.sensor, lambda s: replace(s, stuck=defect.level == "high"))


def _hall_supply_lost(unit: AsBuilt, _: HallSupplyLost) -> AsBuilt:
    unit = _sensor(unit, "abc", lambda s: replace(s, stuck=True))
    return replace(unit, sensors_powered=False)


def _hall_loose(unit: AsBuilt, defect: HallLoose) -> AsBuilt:
    return replace(unit, loose_sensor=SENSORS.index(defect.sensor))


def _weak_sensor_ring(unit: AsBuilt, defect: WeakSensorRing) -> AsBuilt:
    return replace(unit, ring=unit.ring * (1 - defect.share))


def _weak_latch(unit: AsBuilt, defect: WeakLatch) -> AsBuilt:
    return _sensor(unit, defect.sensor, lambda s: replace(s, operate=defect.operate, release=defect.release))


def _eccentric_sensor_ring(unit: AsBuilt, defect: EccentricSensorRing) -> AsBuilt:
    return _sensor(unit, "abc", lambda s: replace(s, eccentric_deg=defect.deg))


def _rotor_eccentric(unit: AsBuilt, defect: RotorEccentric) -> AsBuilt:
    place = (np.arange(unit.poles.size) + 0.5) * np.pi / unit.pole_pairs
    unit = replace(unit, poles=unit.poles * (1 + defect.share * np.cos(place)))
    return _sensor(unit, "abc", lambda s: replace(s, eccentric_deg=s.eccentric_deg + defect.deg))


def _hall_bounce(unit: AsBuilt, defect: HallBounce) -> AsBuilt:
    return _sensor(unit, defect.sensor, lambda s: replace(s, bounces=True))


# --- the rest ---
def _low_insulation(unit: AsBuilt, defect: LowInsulation) -> AsBuilt:
    return replace(unit, insulation=defect.megohm * 1e6)


def _high_drag(unit: AsBuilt, defect: HighDrag) -> AsBuilt:
    return replace(unit, drag_factor=defect.factor)


def _loose_contact(unit: AsBuilt, defect: LooseContact) -> AsBuilt:
    return replace(unit, loose_lead=SENSORS.index(defect.lead))


def _coupling_slips(unit: AsBuilt, defect: CouplingSlips) -> AsBuilt:
    return replace(unit, slip=defect.share)


def _scaled(values: NDArray[np.float64], index: int, factor: float) -> NDArray[np.float64]:
    scaled = values.astype(float)
    scaled[index] *= factor
    return scaled


_APPLY: dict[str, Callable[[AsBuilt, Any], AsBuilt]] = {
    "weak_magnets": _weak_magnets, "weak_pole": _weak_pole, "reversed_magnet": _reversed_magnet,
    "wrong_pole_count": _wrong_pole_count, "shorted_turns": _shorted_turns, "open_phase": _open_phase,
    "shorted_phase": _shorted_phase, "reversed_phase": _reversed_phase, "leads_swapped": _leads_swapped,
    "hall_wires": _hall_wires, "hall_inverted": _hall_inverted, "hall_displaced": _hall_displaced,
    "hall_board_rotated": _hall_board_rotated, "hall_stuck": _hall_stuck, "hall_supply_lost": _hall_supply_lost,
    "weak_latch": _weak_latch, "eccentric_sensor_ring": _eccentric_sensor_ring, "hall_bounce": _hall_bounce,
    "low_insulation": _low_insulation, "high_resistance_joint": _high_resistance_joint, "high_drag": _high_drag,
    "loose_contact": _loose_contact, "coil_reversed": _coil_reversed, "wrong_turns": _wrong_turns,
    "leads_moved_round": _leads_moved_round, "hall_loose": _hall_loose, "weak_sensor_ring": _weak_sensor_ring,
    "rotor_eccentric": _rotor_eccentric, "coupling_slips": _coupling_slips,
}
