"""One Hall sensor against the rotor: its edges as rotor angles, with what makes them unsure."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from station.analysis.angle_track import AngleTrack
from station.analysis.hall_budget import AngleErrors, channel_time_u, slot_ripple_u, threshold_time_u
from station.analysis.hall_edges import debounce_samples, find_edges
from station.analysis.hall_levels import HallLevels
from station.analysis.hall_pattern import EdgePattern, edge_pattern, missing_cycles
from station.analysis.hall_timing import SHAPELESS, SensorEdges, time_edges
from station.capture import Capture, Channel

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SensorAngles:
    """Edges of one sensor against the rotor; a rise is an edge that goes high as the angle grows."""

    time: Floats                    # (k,) s since the start of the capture
    angle: Floats                   # (k,) rad, rotor electrical angle, unwrapped
    goes_high: NDArray[np.bool_]    # (k,) as the rotor angle grows
    sense: int                      # +1 if the rotor angle grows with time, else -1
    edges: SensorEdges
    rise: EdgePattern | None        # None without such an edge
    fall: EdgePattern | None

    def of(self, goes_high: bool) -> Floats:
        """Return the angles (rad) of one polarity."""
        chosen: Floats = self.angle[self.goes_high == goes_high]
        return chosen

    def missing(self, span: tuple[float, float]) -> NDArray[np.int64]:
        """Return the electrical cycles (m,) of edges that `span` (rad) calls for and that are not in their place.

        A fall counts to the cycle in which its pulse rises. Bounce moves edges by itself, and is counted as such: on a
        sensor that bounces only edges that are nowhere near their place are missing.
        """
        wraps = bool(self.rise and self.fall and self.fall.mean_deg < self.rise.mean_deg)
        bounces = self.edges.extra_crossings > 0
        return np.concatenate([np.zeros(0, dtype=np.int64), *(
            missing_cycles(self.of(goes_high)[~pattern.stray | bounces], pattern.mean_deg, span)
            - (wraps and not goes_high)
            for goes_high, pattern in ((True, self.rise), (False, self.fall)) if pattern)])


def locate_edges(capture: Capture, levels: Mapping[str, HallLevels], track: AngleTrack, pole_pairs: int
                 ) -> dict[str, SensorAngles]:
    """Find the edges of the sensors that have levels, and place them on the rotor."""
    interval, sense = capture.sample_interval, rotor_sense(capture, track)
    per_sector = 1.0 / (6.0 * abs(track.mean_electrical_frequency) * interval)
    found = [find_edges(capture.codes[f"h_{sensor}"], each, per_sector, debounce_samples(interval, per_sector))
             for sensor, each in levels.items()]
    return {sensor: _place(edges, capture.channels[f"h_{sensor}"], interval, track, sense, pole_pairs)
            for sensor, edges in zip(levels, time_edges(found), strict=True)}


def _place(edges: SensorEdges, channel: Channel, interval: float, track: AngleTrack, sense: int, pole_pairs: int
           ) -> SensorAngles:
    """Place the edges of one sensor on the rotor.

    Sample k of a channel is taken at k x interval + skew, and shows what was `lag` earlier. In
    reverse (`sense` -1) the rotor angle shrinks with time, so that a rise of the angle is a fall in time.
    """
    time = edges.sample * interval + channel.skew - channel.lag
    angle = track.rotor_angle(time) if time.size else np.zeros(0)
    goes_high = edges.rising == (sense > 0)
    timing_u_deg = 360.0 * abs(track.mean_electrical_frequency) * interval * edges.time_noise
    rise, fall = (edge_pattern(angle[each], pole_pairs, timing_u_deg) if each.any() else None
                  for each in (goes_high, ~goes_high))
    return SensorAngles(time, angle, goes_high, sense, edges, rise, fall)


def rotor_sense(capture: Capture, track: AngleTrack) -> int:
    """Return +1 if the rotor angle grows over the capture, else -1."""
    start, end = track.rotor_angle(np.array([0.0, capture.size * capture.sample_interval]))
    return 1 if end > start else -1


def angle_errors(capture: Capture, sensor: str, located: SensorAngles, track: AngleTrack) -> AngleErrors:
    """Return what makes the mean angles of this sensor unsure, degrees."""
    per_second = 360.0 * abs(track.mean_electrical_frequency)
    interval, accuracy = capture.sample_interval, capture.accuracy
    patterns = [each for each in (located.rise, located.fall) if each is not None]
    count = min((each.count for each in patterns), default=1)
    sampling = per_second * interval * located.edges.time_noise / float(np.sqrt(count))
    channel = per_second * channel_time_u(accuracy)
    in_time = located.edges.transitions     # of an edge too fast to see, only a longest duration is known
    seen = [each * interval if each >= SHAPELESS else 0.0 for each in in_time]
    unseen = max((float(np.fmax(each, 1.0)) * interval for each in in_time if not each >= SHAPELESS), default=0.0)
    rise, fall = seen if located.sense > 0 else reversed(seen)
    return AngleErrors(
        sensor,
        scatter_deg=max([sampling, *(each.mean_u_deg for each in patterns)]),
        scatter_dof=max(1.0, float(min((each.dof for each in patterns), default=1))),
        channel_deg=channel,
        level_deg=(per_second * threshold_time_u(accuracy, rise), -per_second * threshold_time_u(accuracy, fall)),
        unseen_deg=per_second * threshold_time_u(accuracy, unseen),
        zero_deg=float(np.rad2deg(track.angle_u)),
        slot_ripple_deg=float(np.rad2deg(slot_ripple_u(accuracy))),
        zero_channel_deg=channel,
        stitch_deg=float(np.rad2deg(track.stitch_u)),
    )
