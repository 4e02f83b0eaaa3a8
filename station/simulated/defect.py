"""The kinds of defect that a motor of the lot can have, each with its size."""

from typing import Annotated, Literal

from pydantic import Field

from station.toml_file import Table

Sensor = Literal["a", "b", "c"]
Phase = Literal["a", "b", "c"]
Pair = Literal["ab", "bc", "ca"]
Share = Annotated[float, Field(gt=0.0, lt=1.0)]
Positive = Annotated[float, Field(gt=0.0)]


class WeakMagnets(Table):
    """All magnets weak by `share`."""

    kind: Literal["weak_magnets"]
    share: Share


class WeakPole(Table):
    """One pole weak by `share`."""

    kind: Literal["weak_pole"]
    share: Share


class ReversedMagnet(Table):
    """One magnet glued in the wrong way round."""

    kind: Literal["reversed_magnet"]


class WrongPoleCount(Table):
    """A rotor of another type, with `pole_pairs`."""

    kind: Literal["wrong_pole_count"]
    pole_pairs: Annotated[int, Field(ge=1, le=40)]


class ShortedTurns(Table):
    """A `share` of the turns of a phase bridged."""

    kind: Literal["shorted_turns"]
    phase: Phase
    share: Share


class CoilReversed(Table):
    """Coils with a `share` of the turns of a phase connected the wrong way round; no turn is bridged."""

    kind: Literal["coil_reversed"]
    phase: Phase
    share: Annotated[float, Field(gt=0.0, lt=0.5)]


class WrongTurns(Table):
    """Every phase wound with `factor` times its turns, of wire that fills the same slot."""

    kind: Literal["wrong_turns"]
    factor: Positive


class OpenPhase(Table):
    """A phase interrupted."""

    kind: Literal["open_phase"]
    phase: Phase


class ShortedPhase(Table):
    """A phase bridged from end to end."""

    kind: Literal["shorted_phase"]
    phase: Phase


class ReversedPhase(Table):
    """A phase connected the wrong way round."""

    kind: Literal["reversed_phase"]
    phase: Phase


class LeadsSwapped(Table):
    """Two power leads exchanged."""

    kind: Literal["leads_swapped"]
    pair: Pair


class LeadsMovedRound(Table):
    """The power leads moved round: `order` = "bca" brings lead b to plug a, c to b and a to c."""

    kind: Literal["leads_moved_round"]
    order: Literal["bca", "cab"]


class HallWires(Table):
    """Sensor wires permuted: `order` = "acb" brings sensor c to input b and sensor b to input c."""

    kind: Literal["hall_wires"]
    order: Literal["acb", "bac", "bca", "cab", "cba"]


class HallInverted(Table):
    """Sensors mounted back to front."""

    kind: Literal["hall_inverted"]
    sensors: Annotated[list[Sensor], Field(min_length=1)]


class HallDisplaced(Table):
    """One sensor at a rotor angle larger by `deg` (electrical)."""

    kind: Literal["hall_displaced"]
    sensor: Sensor
    deg: float


class HallBoardRotated(Table):
    """The whole sensor board at a rotor angle larger by `deg` (electrical)."""

    kind: Literal["hall_board_rotated"]
    deg: float


class HallStuck(Table):
    """A dead sensor."""

    kind: Literal["hall_stuck"]
    sensor: Sensor
    level: Literal["high", "low"]


class HallSupplyLost(Table):
    """The supply wire of the sensors broken; only the pull-ups live."""

    kind: Literal["hall_supply_lost"]


class HallLoose(Table):
    """A sensor wire that loses contact now and then while the shaft turns; the pull-up then holds it high."""

    kind: Literal["hall_loose"]
    sensor: Sensor


class WeakSensorRing(Table):
    """The field at all sensors weak by `share`, while the windings see the rotor as it should be."""

    kind: Literal["weak_sensor_ring"]
    share: Share


class WeakLatch(Table):
    """A sensor that switches at these shares of the peak field instead of near zero."""

    kind: Literal["weak_latch"]
    sensor: Sensor
    operate: Annotated[float, Field(gt=-1.0, lt=1.0)]
    release: Annotated[float, Field(gt=-1.0, lt=1.0)]


class EccentricSensorRing(Table):
    """The sensors' ring off centre: edges swing by `deg` (electrical) once per revolution."""

    kind: Literal["eccentric_sensor_ring"]
    deg: Positive


class RotorEccentric(Table):
    """A rotor out of centre: poles differ by `share` once per revolution, sensed edges swing by `deg` (electrical)."""

    kind: Literal["rotor_eccentric"]
    share: Share
    deg: Positive


class CouplingSlips(Table):
    """A coupling through which the motor turns slower than the drive by `share`."""

    kind: Literal["coupling_slips"]
    share: Share


class HallBounce(Table):
    """A sensor whose output falls back twice after each edge."""

    kind: Literal["hall_bounce"]
    sensor: Sensor


class LowInsulation(Table):
    """Damaged insulation of `megohm`."""

    kind: Literal["low_insulation"]
    megohm: Positive


class HighResistanceJoint(Table):
    """A poor joint of `ohm` in one power lead."""

    kind: Literal["high_resistance_joint"]
    lead: Phase
    ohm: Positive


class HighDrag(Table):
    """Drag of the bearings multiplied by `factor`."""

    kind: Literal["high_drag"]
    factor: Annotated[float, Field(gt=1.0)]


class LooseContact(Table):
    """A power lead that loses contact now and then while the shaft turns."""

    kind: Literal["loose_contact"]
    lead: Phase


Defect = (WeakMagnets | WeakPole | ReversedMagnet | WrongPoleCount | ShortedTurns | CoilReversed | WrongTurns
          | OpenPhase | ShortedPhase | ReversedPhase | LeadsSwapped | LeadsMovedRound | HallWires | HallInverted
          | HallDisplaced | HallBoardRotated | HallStuck | HallSupplyLost | HallLoose | WeakSensorRing | WeakLatch
          | EccentricSensorRing | RotorEccentric | CouplingSlips | HallBounce | LowInsulation | HighResistanceJoint
          | HighDrag | LooseContact)
