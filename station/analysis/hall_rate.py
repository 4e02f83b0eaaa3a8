"""Hall edges in a revolution of the drive: evidence on the number of poles that owes nothing to the back-EMF."""

from math import pi

from station.analysis.hall_edges import debounce_samples, find_edges
from station.analysis.hall_levels import HallLevels, sensor_levels
from station.capture import Capture
from station.motor import SENSORS


def count_edges(capture: Capture, electrical_frequency: float) -> float | None:
    """Return the edges of all sensors per revolution by the drive's own speed; None unless all of them switch.

    Rises of each sensor are counted from its first to its last. `electrical_frequency` (Hz) sets how close
    edges may lie. It looks at all Hall samples, and so only after a capture is known to be refused.
    """
    turn = 2 * pi / abs(capture.drive_speed) / capture.sample_interval
    per_sector = 1.0 / (6.0 * electrical_frequency * capture.sample_interval)
    count = 0.0
    for sensor in SENSORS:
        levels = sensor_levels(capture, sensor)
        if not isinstance(levels, HallLevels):
            return None
        edges = find_edges(capture.codes[f"h_{sensor}"], levels, per_sector,
                           debounce_samples(capture.sample_interval, per_sector)).edges
        rises = edges.first[edges.rising]
        if rises.size < 2:
            return None
        count += 2 * (rises.size - 1) * turn / float(rises[-1] - rises[0])
    return count
