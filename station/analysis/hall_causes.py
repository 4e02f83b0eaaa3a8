"""Signatures of faults in Hall sensors, their board, leads and magnet ring, within one capture."""

from collections.abc import Iterator, Mapping

from station.analysis.hall import HallAnalysis
from station.analysis.hall_measurements import wrapped
from station.analysis.lead_maps import LeadMap, matching_maps, motor_lead_exchange
from station.measurement import Finding, Measurement
from station.motor import SENSORS, HallLayout, MotorType

# Starting points of suspicion, wider than a good motor of common limits; common practice, no source
DISPLACED_DEG = 5.0
ROTATED_DEG = 5.0
DUTY_SHARE = 4.0          # %, away from 50
PHASE_LOST_UNBALANCE = 30.0   # %
ECCENTRIC_DEG = 1.2       # once-per-revolution wobble of the edges

Measurements = Mapping[str, Measurement]


def hall_causes(measurements: Measurements, motor_type: MotorType, hall: HallAnalysis) -> Iterator[Finding]:
    """Yield what the Hall signals of one capture point to; nothing for a good motor."""
    layout = motor_type.sensors
    if layout is None:
        return
    if hall.stuck:
        yield from _stuck(hall)
    yield from _counts(measurements, motor_type, hall)
    yield from _order_and_place(measurements, layout)
    yield from _duty(measurements)
    yield from _eccentric(hall, motor_type)


def _stuck(hall: HallAnalysis) -> Iterator[Finding]:
    if len(hall.stuck) == len(SENSORS):
        levels = ", ".join(f"{s.upper()} {each.mean:.2f} V" for s, each in hall.stuck.items())
        yield Finding("hall_supply_missing", f"No Hall line switches ({levels}): supply or connector of the "
                      "sensors is open. The supply current tells them from three dead sensors.")
        return
    yield from hall.findings


def _counts(measurements: Measurements, motor_type: MotorType, hall: HallAnalysis) -> Iterator[Finding]:
    bounce, missing = _value(measurements, "hall_bounce"), _value(measurements, "hall_missing")
    edges = _value(measurements, "hall_edges_per_revolution")
    if bounce:
        yield Finding("hall_bounce", f"{bounce:.0f} extra level crossings in the capture: a loose contact, a slow "
                      "edge without hysteresis, or interference from the drive.")
    if not missing or hall.stuck or edges is None:
        return
    full = 6 * motor_type.pole_pairs
    if abs(edges - (full - 6)) < 0.5:
        yield Finding("reversed_magnet", f"{edges:.1f} edges per revolution instead of {full}, six fewer on all "
                      "sensors together: one magnet of the rotor or sensor ring is reversed or absent.")
    else:
        yield Finding("hall_pulse_missing", f"{missing:.0f} edges are missing where the rotor angle calls for "
                      f"them ({edges:.2f} per revolution instead of {full}): a loose contact, or a weak pole.")


def _order_and_place(measurements: Measurements, layout: HallLayout) -> Iterator[Finding]:
    phase, hall = _value(measurements, "phase_order"), _value(measurements, "hall_order")
    found = [_rise(measurements, sensor) for sensor in SENSORS]
    rises = [each for each in found if each is not None]
    unbalance = _value(measurements, "back_emf_unbalance")
    if unbalance is not None and unbalance > PHASE_LOST_UNBALANCE:
        return   # a reversed or shorted phase moves the zero of v_ab and turns the order over by itself
    if phase == -1:
        yield from _reversed_lines(hall, rises, layout)
        return
    if len(rises) < len(SENSORS):
        yield from _displaced_alone(measurements)
        return
    maps = matching_maps(rises, layout)
    if maps and not maps[0].is_straight:
        yield _exchanged(maps, hall)
    else:
        yield from _placed(rises, layout)


def _reversed_lines(hall: float | None, rises: list[float], layout: HallLayout) -> Iterator[Finding]:
    if hall == 1:
        leads = motor_lead_exchange(rises, layout) if len(rises) == len(SENSORS) else None
        which = f"motor leads {leads}" if leads else "two motor leads"
        yield Finding("motor_leads_exchanged", f"The lines run in reversed order while the Hall codes run as "
                      f"declared: {which} are exchanged.")
    elif hall == -1:
        yield Finding("turns_backwards", "Lines and Hall codes both run in reversed order: the motor turned "
                      "against the declared direction, or motor leads and Hall leads are both exchanged. Only "
                      "the direction of the shaft, seen independently, tells them apart.")
    else:
        yield Finding("motor_leads_exchanged", "The lines run in reversed order: two motor leads are exchanged, "
                      "or the motor turned backwards. Without a clear Hall order these cannot be told apart; "
                      "look at the shaft.")


def _exchanged(maps: tuple[LeadMap, ...], order: float | None) -> Finding:
    best = maps[0]
    words = best.words()
    text = f"The Hall edges fit if {words}; code order {'reversed' if order == -1 else 'as declared'}."
    if order == 0:
        text = f"The Hall edges fit if {words}; forbidden codes appear."
    if best.moves_round:
        text += (" Motor leads moved round, or a sensor board turned by 120 degrees, read the same; compare the"
                 " colours of the leads.")
    elif all(best.inverted):
        text += " A sensor board turned by 180 degrees reads the same; look at the board."
    elif len(maps) > 1:
        text += f" The same edges fit if {maps[1].words()}; the colours of the leads tell."
    moved = best.carries != (0, 1, 2)
    return Finding("hall_leads_exchanged" if moved else "hall_sensor_inverted", text)


def _placed(rises: list[float], layout: HallLayout) -> Iterator[Finding]:
    """One sensor apart from the two others, or all three together."""
    off = [wrapped(rise - declared) for rise, declared in zip(rises, layout.rise_deg, strict=True)]
    middle = sorted(off)[1] if max(off) - min(off) < 180.0 else off[0]
    apart = [wrapped(each - middle) for each in off]
    worst = max(range(3), key=lambda index: abs(apart[index]))
    others = [index for index in range(3) if index != worst]
    if abs(apart[worst]) > DISPLACED_DEG and abs(apart[others[0]] - apart[others[1]]) <= 0.5 * abs(apart[worst]):
        reference = sum(off[index] for index in others) / 2
        yield Finding("hall_sensor_displaced",
                      f"Hall sensor {SENSORS[worst].upper()} switches {wrapped(off[worst] - reference):+.1f} "
                      f"degrees from its place between the two others, which agree within "
                      f"{abs(off[others[0]] - off[others[1]]):.1f} degrees.")
        off = [reference]
    elif max(apart) - min(apart) > 2 * DISPLACED_DEG:
        listed = ", ".join(f"{s.upper()} {each:+.1f}" for s, each in zip(SENSORS, off, strict=True))
        yield Finding("hall_sensor_displaced", f"The Hall sensors are out of place by different amounts ({listed} "
                      "degrees): spacing on the board, or a wrong layout for this motor type.")
    mean = sum(off) / len(off)
    if abs(mean) > ROTATED_DEG:
        yield Finding("hall_board_rotated", f"The Hall sensors together switch {mean:+.1f} degrees from their "
                      "declared angles with their spacing kept: the sensor board or ring is turned. One direction "
                      "alone cannot tell this from hysteresis and delay; a capture in reverse does.")


def _displaced_alone(measurements: Measurements) -> Iterator[Finding]:
    """With a sensor lost, the others can only be held against their declared angles."""
    for sensor in SENSORS:
        placement = _value(measurements, f"hall_placement.{sensor}")
        if placement is not None and abs(placement) > DISPLACED_DEG:
            yield Finding("hall_sensor_displaced", f"Hall sensor {sensor.upper()} switches {placement:+.1f} "
                          "degrees from its declared angle; a sensor is missing, so the board may be turned.")


def _duty(measurements: Measurements) -> Iterator[Finding]:
    for sensor in SENSORS:
        duty = _value(measurements, f"hall_duty.{sensor}")
        if duty is not None and abs(duty - 50.0) > DUTY_SHARE:
            yield Finding("hall_duty_off", f"Hall sensor {sensor.upper()} is high for {duty:.1f} % of the cycle: "
                          "its switching points lie unevenly about zero field, or the sensing field is weak.")


def _eccentric(hall: HallAnalysis, motor_type: MotorType) -> Iterator[Finding]:
    """All sensors wobble once per revolution; a single pole moves one edge and makes less of order one."""
    amplitudes = [max(p.eccentricity_deg for p in (each.rise, each.fall) if p is not None)
                  for each in hall.edges.values() if each.rise is not None or each.fall is not None]
    if motor_type.pole_pairs >= 3 and len(amplitudes) == len(SENSORS) and min(amplitudes) > ECCENTRIC_DEG:
        yield Finding("eccentric_sensor_ring", "The edges of all Hall sensors wobble once per revolution by "
                      f"{min(amplitudes):.1f} to {max(amplitudes):.1f} degrees: the magnet that the sensors watch "
                      "runs out of centre. Runout of the rotor itself would show in the back-EMF too.")


def _rise(measurements: Measurements, sensor: str) -> float | None:
    """Middle of the high range less 90 degrees, so that an uneven duty does not move it."""
    rise = _value(measurements, f"hall_angle_rise.{sensor}")
    fall = _value(measurements, f"hall_angle_fall.{sensor}")
    if rise is None or fall is None:
        return None
    return rise + 0.5 * wrapped(fall - 180.0 - rise)


def _value(measurements: Measurements, name: str) -> float | None:
    found = measurements.get(name)
    return None if found is None else found.value
