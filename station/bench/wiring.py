"""The wiring of a bench file: which channel carries which signal, and which signals are taken together."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from station.bench.digitizer import Wiring
from station.bench.roles import SENSOR_DIGITIZER, Role
from station.capture import CHANNELS, HALL_CHANNELS, VOLTAGE_CHANNELS
from station.errors import Fault
from station.toml_file import Table

REFERENCE, CHECK = "v_ab", "h_a"    # what both parts carry, so that they can be stitched and checked
Wirings = Mapping[str, Wiring]


class WiringTable(Table):
    """How one signal reaches the digitizer."""

    channel: Annotated[int, Field(ge=1, le=64)]
    probe_ratio: Annotated[float, Field(gt=0)] = 1.0
    skew_s: float = 0.0
    lag_s: float = 0.0
    position: Annotated[int, Field(ge=1, le=64)] | None = None

    def wiring(self) -> Wiring:
        """Return the table as the driver wants it."""
        return Wiring(self.channel, self.probe_ratio, self.skew_s, self.lag_s, self.position or 0)


class SignalsTable(Table):
    """The signals of one digitizer; which it must have depends on whether there is a second one."""

    v_ab: WiringTable | None = None
    v_bc: WiringTable | None = None
    v_ca: WiringTable | None = None
    h_a: WiringTable | None = None
    h_b: WiringTable | None = None
    h_c: WiringTable | None = None

    def wirings(self) -> dict[str, Wiring]:
        """Return what is wired."""
        tables: dict[str, WiringTable | None] = {signal: getattr(self, signal) for signal in CHANNELS}
        return {signal: table.wiring() for signal, table in tables.items() if table is not None}


class InputSwitchTable(Table):
    """The switch before the inputs of a digitizer with too few channels."""

    settle_s: Annotated[float, Field(ge=0, le=10)] = 0.05


@dataclass(frozen=True, slots=True)
class CapturePart:
    """The signals of one capture, and whose it is."""

    role: Role
    signals: tuple[str, ...]

    @property
    def has_lines(self) -> bool:
        """Whether all three lines are in it."""
        return set(VOLTAGE_CHANNELS) <= set(self.signals)


def capture_parts(wiring: Wirings, sensor_wiring: Wirings) -> tuple[CapturePart, ...]:
    """Return what must be captured for all signals, the lines first.

    Signals of unlike positions of the switch are taken one after the other, those of two digitizers at once.
    """
    positions = sorted({each.position for each in wiring.values()} - {0}) or [0]
    parts = [CapturePart("digitizer", tuple(name for name in CHANNELS if name in wiring
                                            and wiring[name].position in (0, position))) for position in positions]
    if sensor_wiring:
        parts.append(CapturePart(SENSOR_DIGITIZER, tuple(name for name in CHANNELS if name in sensor_wiring)))
    return tuple(sorted(parts, key=lambda part: not part.has_lines))


def wiring_faults(wiring: Wirings, sensor_wiring: Wirings, file: str) -> list[Fault]:
    """Return everything that keeps the signals from being captured, in one capture or in two."""
    parts = capture_parts(wiring, sensor_wiring)
    if len(parts) > 2 or (sensor_wiring and any(each.position for each in wiring.values())):
        return [Fault(file, "wiring", "more than two captures", "one with the lines, one with the sensors",
                      "Use two positions of the switch, or a second digitizer for the sensors.")]
    faults = _missing("wiring", wiring, VOLTAGE_CHANNELS if sensor_wiring else CHANNELS, file)
    if sensor_wiring:
        faults += _missing("sensor_wiring", sensor_wiring, (REFERENCE, *HALL_CHANNELS), file)
        faults += [Fault(file, f"sensor_wiring.{name}.position", str(each.position), "none",
                         "A digitizer for the sensors takes them without a switch.")
                   for name, each in sensor_wiring.items() if each.position]
    elif len(parts) == 2 and not faults:
        faults += _switch_faults(parts, wiring, file)
    for part in parts:
        key, wired = ("wiring", wiring) if part.role == "digitizer" else ("sensor_wiring", sensor_wiring)
        faults += _channel_faults(key, {name: wired[name] for name in part.signals}, file)
    return faults


def _missing(key: str, wiring: Wirings, needed: tuple[str, ...], file: str) -> list[Fault]:
    return [Fault(file, f"{key}.{name}", "nothing", "the channel of this signal", "Add it.")
            for name in needed if name not in wiring]


def _switch_faults(parts: tuple[CapturePart, ...], wiring: Wirings, file: str) -> list[Fault]:
    faults = [Fault(file, f"wiring.{name}.position", str(wiring[name].position), "none",
                    "Wire it around the switch: it must come through in both captures, so that they can be stitched.")
              for name in (REFERENCE, CHECK) if wiring[name].position]
    if faults or (parts[0].has_lines and set(HALL_CHANNELS) <= set(parts[1].signals)):
        return faults
    return [Fault(file, "wiring", " and ".join(", ".join(part.signals) for part in parts),
                  "one position with all three lines, the other with all three sensors", "Correct the positions.")]


def _channel_faults(key: str, wiring: Wirings, file: str) -> list[Fault]:
    faults, taken = [], dict[int, str]()
    for signal, each in wiring.items():
        other = taken.setdefault(each.channel, signal)
        if other != signal:
            faults.append(Fault(file, f"{key}.{signal}.channel", f"that of {other}", "a channel of its own",
                                "Correct the channel numbers."))
    return faults
