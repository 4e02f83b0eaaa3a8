"""Signatures of Hall sensors out of place, of their switching points, and of the ring they watch."""

from collections.abc import Iterator, Mapping
from math import isfinite, radians, sin

from station.analysis.hall_measurements import wrapped
from station.analysis.hall_view import HallView
from station.analysis.suspicion import Suspicion
from station.measurement import Finding, Measurement
from station.motor import SENSORS

# Without limits: wider than a good motor of common limits; common practice, no source
DISPLACED_DEG = 5.0
ROTATED_DEG = 5.0
LATE_DEG = 4.0            # half of forward minus reverse; common latches give 1 to 3 degrees, no source
DUTY_SHARE = 4.0          # %, away from 50
ECCENTRIC_DEG = 1.2       # once-per-revolution movement of the edges
# With a limit failed: what may still be a sound motor's own spread, too small to be the reason of it
SOUND_DEG = 2.0
SOUND_DUTY = 1.0          # %

PLACE = ("hall_placement", "hall_position", "hall_angle_rise", "hall_angle_fall", "hall_sector_min", "hall_sector_max",
         *(f"hall_sector_{number}" for number in range(1, 7)), "commutated_torque_ripple")

Measurements = Mapping[str, Measurement]


def place_causes(view: HallView, expected: Mapping[str, float], suspicion: Suspicion) -> Iterator[Finding]:
    """Yield which sensors sit or switch wrong.

    Parameters
    ----------
    view : middles of the high ranges, degrees, lag taken out where both directions are known
    expected : where each sensor should go high, degrees, exchanged leads allowed for
    """
    switching = tuple(_switching(view, suspicion))
    yield from switching
    if switching and not view.both_ways:
        return   # in one direction an uneven sensor seems displaced as well
    off = {sensor: wrapped(middle - expected[sensor]) for sensor, middle in view.middles.items() if isfinite(middle)}
    if not suspicion.any(*PLACE, "hall_hysteresis", unjudged=True):
        return
    if len(off) == len(SENSORS):
        yield from _placed(off, view, suspicion)
    else:
        yield from _placed_alone(off, suspicion)


def _switching(view: HallView, suspicion: Suspicion) -> Iterator[Finding]:
    """Uneven or late switching points of a sensor: one cause, whichever of the two shows it."""
    late, uneven = {}, {}
    weak_field = len(view.lags) == len(SENSORS) and min(view.lags.values()) > LATE_DEG
    for sensor in view.middles:
        duty, lag = view.duties.get(sensor, 50.0), view.lags.get(sensor, 0.0)
        out = suspicion.any(f"hall_duty.{sensor}", *PLACE, unjudged=abs(duty - 50.0) > DUTY_SHARE)
        # In a weak field every sensor is late, and small differences of its two points grow with that.
        if out and abs(duty - 50.0) > SOUND_DUTY and not (weak_field and 1.8 * abs(duty - 50.0) < 0.5 * lag):
            uneven[sensor] = duty
        elif _is_late(sensor, lag, suspicion):
            late[sensor] = lag
    for sensor, duty in uneven.items():
        yield _uneven(sensor, duty, view)
    if late:
        yield _late(view.lags if weak_field else late, view)


def _is_late(sensor: str, lag: float, suspicion: Suspicion) -> bool:
    """Late by itself, or so late that a limit on the place in one direction fails for it."""
    if lag <= SOUND_DEG:
        return False
    if suspicion.any(f"hall_hysteresis.{sensor}", unjudged=abs(lag) > LATE_DEG):
        return True
    return suspicion.is_judged and suspicion.any(f"hall_placement.{sensor}", unjudged=False) and lag > 1.5 * SOUND_DEG


def _uneven(sensor: str, duty: float, view: HallView) -> Finding:
    width = 3.6 * (duty - 50.0)
    text = (f"Hall sensor {sensor.upper()} is high for {duty:.1f} % of the cycle, {abs(width):.1f} degrees too "
            f"{'long' if width > 0 else 'short'}: its switching points lie unevenly about zero field, or the sensing "
            "field is weak.")
    if sensor in view.lags:
        # Lags of rise and fall add to twice the common lag, and differ by what the high range lacks (derived).
        rise, fall = view.lags[sensor] - 0.5 * width, view.lags[sensor] + 0.5 * width
        text += (f" Both directions give a rise {rise:.1f} and a fall {fall:.1f} degrees late, as for switching at "
                 f"{100 * sin(radians(rise)):+.0f} % and {-100 * sin(radians(fall)):+.0f} % of the peak field. A slow "
                 "edge delays one of them too, and more at higher speed: compare two speeds.")
    return Finding("hall_duty_off", text)


def _late(late: Mapping[str, float], view: HallView) -> Finding:
    listed = ", ".join(f"{sensor.upper()} {lag:.1f}" for sensor, lag in late.items())
    text = f"Hall sensors switch late in both directions ({listed} degrees)"
    every = len(late) == len(view.lags) == len(SENSORS)
    field = "a weak magnet or ring, or too wide a gap to it" if every else "a weak sensing field at that sensor"
    share = 100 * sin(radians(max(late.values())))
    split = _delay(late, view)
    if split is None:
        return Finding("excess_hysteresis", f"{text}: wide switching hysteresis of up to {share:.0f} % of the field, "
                       f"{field}, or delay in the sensor line. Delay grows with speed, hysteresis does not: compare "
                       "two speeds.")
    delay, grown, kept = split
    parts = (f"{text}, of which {kept:.1f} degrees stay and {grown:.1f} degrees grow with speed, as a delay of "
             f"{1e6 * delay:.0f} us makes them")
    if grown > kept:
        return Finding("hall_delay", f"{parts}: the sensor line is slow, by its pull-up, its filter or its cable.")
    return Finding("excess_hysteresis", f"{parts}: wide switching hysteresis, or {field}.")


def _delay(late: Mapping[str, float], view: HallView) -> tuple[float, float, float] | None:
    """Return delay (s), the lag that it makes at this speed and the rest (degrees), over the late sensors.

    Source: lag = h + 360 f tau (derived); two speeds give both.
    """
    slow = view.slower
    if slow is None or view.frequency is None or slow.frequency is None or any(each not in slow.lags for each in late):
        return None
    here = sum(view.lags[sensor] for sensor in late) / len(late)
    there = sum(slow.lags[sensor] for sensor in late) / len(late)
    delay = (here - there) / (360.0 * (view.frequency - slow.frequency))
    grown = 360.0 * view.frequency * delay
    return delay, grown, here - grown


def _placed(off: Mapping[str, float], view: HallView, suspicion: Suspicion) -> Iterator[Finding]:
    """The fewest causes that leave every sensor near its place: a turned board, one sensor apart, or both."""
    least = SOUND_DEG if suspicion.is_judged else DISPLACED_DEG
    centre = min(off.values(), key=lambda one: max(abs(wrapped(each - one)) for each in off.values()))
    apart = {sensor: wrapped(each - centre) for sensor, each in off.items()}
    turned = centre + (max(apart.values()) + min(apart.values())) / 2
    rest_if_turned = (max(apart.values()) - min(apart.values())) / 2
    rest_if_one = {sensor: max(abs(each) for other, each in off.items() if other != sensor) for sensor in off}
    alone = min(rest_if_one, key=lambda sensor: rest_if_one[sensor])
    if max(abs(each) for each in off.values()) <= least:
        return
    if min(rest_if_turned, rest_if_one[alone]) <= least:
        if rest_if_turned < rest_if_one[alone]:
            yield from _turned(turned, off, view, suspicion)
        else:
            yield from _displaced(alone, off[alone], off, suspicion)
        return
    yield from _turned_and_displaced(off, view, suspicion, least)


def _turned_and_displaced(off: Mapping[str, float], view: HallView, suspicion: Suspicion, least: float
                          ) -> Iterator[Finding]:
    pairs = {sensor: [each for other, each in off.items() if other != sensor] for sensor in off}
    alone = min(pairs, key=lambda sensor: abs(wrapped(pairs[sensor][0] - pairs[sensor][1])))
    first, second = pairs[alone]
    if abs(wrapped(first - second)) > 2 * least:
        listed = ", ".join(f"{sensor.upper()} {each:+.1f}" for sensor, each in off.items())
        yield Finding("hall_sensor_displaced", f"The Hall sensors are out of place by different amounts ({listed} "
                      "degrees): spacing on the board, or a wrong layout for this motor type.")
        return
    together = first + wrapped(second - first) / 2
    yield from _turned(together, off, view, suspicion)
    yield from _displaced(alone, wrapped(off[alone] - together), off, suspicion)


def _turned(deg: float, off: Mapping[str, float], view: HallView, suspicion: Suspicion) -> Iterator[Finding]:
    least = SOUND_DEG if suspicion.is_judged else ROTATED_DEG
    if abs(deg) <= least:
        return
    listed = ", ".join(f"{sensor.upper()} {each:+.1f}" for sensor, each in off.items())
    known = ("Both directions agree, so it is neither hysteresis nor delay." if view.both_ways else
             "One direction alone cannot tell this from hysteresis and delay; a capture in reverse does.")
    yield Finding("hall_board_rotated", f"The Hall sensors together switch {deg:+.1f} degrees from their declared "
                  f"angles ({listed}) with their spacing kept: the sensor board or ring is turned. {known}")


def _displaced(sensor: str, deg: float, off: Mapping[str, float], suspicion: Suspicion) -> Iterator[Finding]:
    if abs(deg) <= (SOUND_DEG if suspicion.is_judged else DISPLACED_DEG):
        return
    first, second = (each for other, each in off.items() if other != sensor)
    yield Finding("hall_sensor_displaced", f"Hall sensor {sensor.upper()} switches {deg:+.1f} degrees from its place "
                  f"between the two others, which agree within {abs(wrapped(first - second)):.1f} degrees.")


def _placed_alone(off: Mapping[str, float], suspicion: Suspicion) -> Iterator[Finding]:
    """With a sensor lost, the others can only be held against their declared angles."""
    if len(off) > 1:
        first, second = off.values()
        least = SOUND_DEG if suspicion.is_judged else ROTATED_DEG
        if abs(wrapped(first - second)) < SOUND_DEG and abs(first) > least:
            yield Finding("hall_board_rotated", f"Both Hall sensors that can be placed switch {first:+.1f} and "
                          f"{second:+.1f} degrees from their declared angles: the sensor board or ring is turned. The "
                          "third would prove it.")
            return
    for sensor, each in off.items():
        if suspicion.any(f"hall_placement.{sensor}", unjudged=abs(each) > DISPLACED_DEG) and abs(each) > SOUND_DEG:
            yield Finding("hall_sensor_displaced", f"Hall sensor {sensor.upper()} switches {each:+.1f} degrees from "
                          "its declared angle; a sensor is missing, so the board may be turned.")


def eccentric_causes(amplitudes: Mapping[str, float], pole_spread: float | None, suspicion: Suspicion
                     ) -> Iterator[Finding]:
    """Yield a ring or rotor out of centre, from the once-per-revolution movement of each sensor's edges, degrees."""
    if len(amplitudes) < len(SENSORS) or min(amplitudes.values()) <= ECCENTRIC_DEG:
        return
    if not suspicion.any("hall_eccentricity", unjudged=True):
        return
    least, most = min(amplitudes.values()), max(amplitudes.values())
    moved = f"The edges of all Hall sensors wobble once per revolution by {least:.1f} to {most:.1f} degrees"
    if pole_spread is not None and pole_spread > 1.0:
        yield Finding("rotor_eccentric", f"{moved} and half cycles of the back-EMF differ by {pole_spread:.1f} % "
                      "within a revolution: the rotor itself runs out of centre. A weak pole moves the edges too; a "
                      "dial gauge on the rotor tells.")
        return
    seen = "" if pole_spread is None else f" ({pole_spread:.1f} % between half cycles)"
    yield Finding("eccentric_sensor_ring", f"{moved}: the magnet that the sensors watch runs out of centre. Runout of "
                  f"the rotor itself would show in the back-EMF too{seen}, unless its windings average it out.")
