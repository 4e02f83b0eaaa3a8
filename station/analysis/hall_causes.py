"""Signatures of faults in Hall sensors and their leads: dead lines, miscounts, and leads in the wrong place."""

from collections.abc import Iterator, Mapping

from station.analysis.hall import HallAnalysis
from station.analysis.hall_flaws import Bounces, Gaps
from station.analysis.hall_places import place_causes
from station.analysis.hall_view import HallView
from station.analysis.lead_maps import LeadMap, matching_maps, motor_lead_exchange
from station.analysis.suspicion import Suspicion
from station.measurement import Finding, Measurement
from station.motor import SENSORS, HallLayout, MotorType

JITTER_DEG = 1.0              # no sound sensor scatters so far; common practice, no source
PHASE_LOST_UNBALANCE = 30.0   # %; a whole phase reversed or shorted gives 50 and more (derived)

Measurements = Mapping[str, Measurement]


def stuck_causes(hall: HallAnalysis) -> Iterator[Finding]:
    """Yield which lines do not switch; needs no limits, because no good sensor stands still."""
    if len(hall.stuck) == len(SENSORS):
        levels = ", ".join(f"{s.upper()} {each.mean:.2f} V" for s, each in hall.stuck.items())
        yield Finding("hall_supply_missing", f"No Hall line switches ({levels}): supply or connector of the "
                      "sensors is open. The supply current tells them from three dead sensors.")
    else:
        yield from hall.findings


def count_causes(measurements: Measurements, motor_type: MotorType, *, all_switch: bool,
                 hall: HallAnalysis | None = None) -> Iterator[Finding]:
    """Yield what the number of edges points to; a sound sensor misses none and adds none."""
    bounce, missing = _value(measurements, "hall_bounce"), _value(measurements, "hall_missing")
    edges = _value(measurements, "hall_edges_per_revolution")
    full = 6 * motor_type.pole_pairs
    # Three poles merge to one on each of three sensors (derived).
    if edges is not None and all_switch and missing and abs(edges - (full - 6)) < 0.5:
        yield Finding("reversed_magnet", f"{edges:.1f} edges per revolution instead of {full}, six fewer on all "
                      "sensors together: one magnet of the rotor or sensor ring is reversed or absent.")
        return
    if bounce:
        yield Finding("hall_bounce", f"{bounce:.0f} extra level crossings in the capture"
                      f"{_of_sensors(hall.bounces) if hall else ''}: a loose contact, a slow "
                      "edge without hysteresis, or interference from the drive. A capture with another drive, or while "
                      "the cable is held still, tells them apart.")
    if missing and all_switch and edges is not None:
        scatter = scattered(measurements)
        on = ", on sensor " + " and ".join(f"{sensor.upper()}, whose edges scatter by {each:.1f} degrees"
                                           for sensor, each in scatter.items()) if scatter else ""
        yield Finding("hall_pulse_missing", f"{missing:.0f} edges are missing where the rotor angle calls for "
                      f"them ({edges:.2f} per revolution instead of {full}){on}: a loose contact, or a weak pole. A "
                      f"weak pole misses the same edges in every revolution.{_places(hall.gaps) if hall else ''}")


def _of_sensors(bounces: Mapping[str, Bounces]) -> str:
    """Return what each sensor's bounce is like, in brackets."""
    return f" ({'; '.join(f'{sensor.upper()}: {each.words()}' for sensor, each in bounces.items())})" if bounces else ""


def _places(gaps: Mapping[str, Gaps]) -> str:
    """Return where each sensor misses edges, as a sentence."""
    if not gaps:
        return ""
    listed = "; ".join(f"{sensor.upper()} {each.words()}" for sensor, each in gaps.items())
    return (f" Here: {listed}; pole pairs counted, as the rotor turns forward, from the one at the start of the "
            "capture, at its end in reverse.")


def scattered(measurements: Measurements) -> dict[str, float]:
    """Return the sensors whose edges follow no pattern of the rotor, and their jitter in degrees."""
    return {sensor: jitter for sensor in SENSORS
            if (jitter := _value(measurements, f"hall_jitter.{sensor}") or 0.0) > JITTER_DEG}


def order_and_place_causes(view: HallView, layout: HallLayout, suspicion: Suspicion) -> Iterator[Finding]:
    """Yield exchanged or inverted leads, and what is left of each sensor's place once they are put right."""
    if view.unbalance is not None and view.unbalance > PHASE_LOST_UNBALANCE:
        return   # a reversed or shorted phase moves the rotor's zero and turns the order over by itself
    expected = dict(zip(SENSORS, layout.rise_deg, strict=True))
    places = [view.middles.get(sensor) for sensor in SENSORS]
    rises = [each for each in places if each is not None] if None not in places else []
    if view.phase_order == -1:
        yield _reversed_lines(view.hall_order, rises, layout)
        exchange = motor_lead_exchange(rises, layout) if rises and view.hall_order == 1 else None
        if exchange is None:
            return
        expected = {sensor: (rise - exchange[1]) % 360.0 for sensor, rise in expected.items()}
    elif len(view.middles) > 1:   # one sensor alone fits anywhere
        maps = matching_maps(places, layout)
        if maps and not maps[0].is_straight:
            yield _exchanged(maps[0], view.hall_order, layout)
            expected = dict(zip(SENSORS, maps[0].rises(layout), strict=True))
    yield from place_causes(view, expected, suspicion)


def _reversed_lines(hall: float | None, rises: list[float], layout: HallLayout) -> Finding:
    if hall == 1:
        exchange = motor_lead_exchange(rises, layout) if rises else None
        which = f"motor leads {exchange[0]}" if exchange else "two motor leads"
        return Finding("motor_leads_exchanged", f"The lines run in reversed order while the Hall codes run as "
                       f"declared: {which} are exchanged.")
    if hall == -1:
        return Finding("turns_backwards", "Lines and Hall codes both run in reversed order: the motor turned "
                       "against the declared direction, or motor leads and Hall leads are both exchanged. Only "
                       "the direction of the shaft, seen independently, tells them apart.")
    return Finding("motor_leads_exchanged", "The lines run in reversed order: two motor leads are exchanged, "
                   "or the motor turned backwards. Without a clear Hall order these cannot be told apart; "
                   "look at the shaft.")


def _exchanged(found: LeadMap, order: float | None, layout: HallLayout) -> Finding:
    """Name the map, and a plainer one that reads the same when motor leads or the board are moved too."""
    run = {1: "code order as declared", -1: "code order reversed"}.get(int(order or 0), "forbidden codes appear")
    text = f"The Hall edges fit if {found.words()}; {run}."
    mate = found.plainer(layout)
    if mate is not None:
        plainer, deg = mate
        moved = f"Motor leads moved round, or a sensor board turned by {deg} degrees, read" if deg in {120, 240} else (
            f"A sensor board turned by {deg} degrees reads")
        also = f" if {plainer.words()}" if plainer.words() else ""
        text += f" {moved} the same{also}; compare the colours of the leads and look at the board."
    moved_leads = found.carries != (0, 1, 2)
    return Finding("hall_leads_exchanged" if moved_leads else "hall_sensor_inverted", text)


def _value(measurements: Measurements, name: str) -> float | None:
    found = measurements.get(name)
    return None if found is None else found.value
