"""How often the causes named are the right ones: drawn motors with one defect, with two, and with none."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import sys
from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from math import sqrt
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from drawn_motors import Kind, Station, Tested, kinds
from figures import Figure, print_figures

from station.simulated import defect as made

Random = np.random.Generator
BATCH = 50
SINGLES, DOUBLES = 5, 20     # good motors for each motor with one defect and for each with two


def _sensor(random: Random) -> str:
    return str(random.choice(["a", "b", "c"]))


def _pair(random: Random) -> str:
    return str(random.choice(["ab", "bc", "ca"]))


def _size(random: Random, least: float, most: float) -> float:
    """A size between the two, small ones as often as large ones."""
    return float(np.exp(random.uniform(np.log(least), np.log(most))))


def _signed(random: Random, least: float, most: float) -> float:
    return float(random.choice([-1.0, 1.0])) * _size(random, least, most)


def _pole_pairs(random: Random, kind: Kind) -> int:
    own = kind.build.pole_pairs
    return int(random.choice([count for count in range(1, 9) if count != own]))


def _slip(random: Random, kind: Kind) -> made.CouplingSlips:
    """A slip that leaves a whole number of pole pairs reads as another rotor, and nothing measured here tells them."""
    while True:
        share = _size(random, 0.021, 0.45)
        left = kind.build.pole_pairs * (1 - share)
        if abs(left / max(round(left), 1) - 1) > 0.01:
            return made.CouplingSlips(kind="coupling_slips", share=share)


def _weak_latch(random: Random) -> made.WeakLatch:
    """One switching point in place, the other too far out."""
    far, near = _size(random, 0.10, 0.6), float(random.uniform(0.0, 0.03))
    operate, release = (far, -near) if random.random() < 0.5 else (near, -far)
    return made.WeakLatch(kind="weak_latch", sensor=_sensor(random), operate=operate, release=release)


@dataclass(frozen=True, slots=True)
class Cause:
    """A defect to draw, and the codes of findings that name it."""

    draw: Callable[[Random, Kind], made.Defect]
    codes: frozenset[str]
    group: str                    # two defects of one group hide each other


def _cause(group: str, codes: str, draw: Callable[[Random, Kind], made.Defect]) -> Cause:
    return Cause(draw, frozenset(codes.split()), group)


CAUSES: dict[str, Cause] = {
    "weak_magnets": _cause("magnets", "weak_magnets", lambda r, _: made.WeakMagnets(
        kind="weak_magnets", share=_size(r, 0.04, 0.5))),
    "weak_pole": _cause("magnets", "weak_pole", lambda r, _: made.WeakPole(
        kind="weak_pole", share=_size(r, 0.16, 0.95))),
    # With two pole pairs the waves break off so long that the shaft cannot be followed; the refusal says so.
    "reversed_magnet": _cause("magnets", "reversed_magnet unsteady_capture", lambda _r, _k: made.ReversedMagnet(
        kind="reversed_magnet")),
    "wrong_pole_count": _cause("all", "wrong_pole_count", lambda r, k: made.WrongPoleCount(
        kind="wrong_pole_count", pole_pairs=_pole_pairs(r, k))),
    "rotor_eccentric": _cause("magnets", "rotor_eccentric", lambda r, _: made.RotorEccentric(
        kind="rotor_eccentric", share=_size(r, 0.1, 0.5), deg=_size(r, 3.0, 10.0))),
    "coupling_slips": _cause("all", "coupling_slips", _slip),
    "shorted_turns": _cause("winding", "shorted_turns", lambda r, _: made.ShortedTurns(
        kind="shorted_turns", phase=_sensor(r), share=_size(r, 0.05, 0.6))),
    "coil_reversed": _cause("winding", "coil_group_reversed", lambda r, _: made.CoilReversed(
        kind="coil_reversed", phase=_sensor(r), share=_size(r, 0.03, 0.3))),
    "wrong_turns": _cause("winding", "wrong_winding", lambda r, _: made.WrongTurns(
        kind="wrong_turns", factor=float(r.choice([_size(r, 0.6, 0.95), _size(r, 1.05, 1.5)])))),
    "open_phase": _cause("winding", "open_phase", lambda r, _: made.OpenPhase(kind="open_phase", phase=_sensor(r))),
    "shorted_phase": _cause("winding", "shorted_phase", lambda r, _: made.ShortedPhase(
        kind="shorted_phase", phase=_sensor(r))),
    "reversed_phase": _cause("winding", "reversed_phase", lambda r, _: made.ReversedPhase(
        kind="reversed_phase", phase=_sensor(r))),
    "high_resistance_joint": _cause("winding", "joint_resistance", lambda r, k: made.HighResistanceJoint(
        kind="high_resistance_joint", lead=_sensor(r), ohm=k.build.line_resistance_ohm * _size(r, 0.04, 1.0))),
    "loose_contact": _cause("all", "loose_contact unsteady_capture", lambda r, _: made.LooseContact(
        kind="loose_contact", lead=_sensor(r))),
    "leads_swapped": _cause("leads", "motor_leads_exchanged", lambda r, _: made.LeadsSwapped(
        kind="leads_swapped", pair=_pair(r))),
    # Moved round, motor leads and Hall leads read the same, and the finding says so.
    "leads_moved_round": _cause("leads", "hall_leads_exchanged", lambda r, _: made.LeadsMovedRound(
        kind="leads_moved_round", order=str(r.choice(["bca", "cab"])))),
    "hall_wires": _cause("leads", "hall_leads_exchanged", lambda r, _: made.HallWires(
        kind="hall_wires", order=str(r.choice(["acb", "bac", "bca", "cab", "cba"])))),
    "hall_inverted": _cause("leads", "hall_sensor_inverted", lambda r, _: made.HallInverted(
        kind="hall_inverted", sensors=[["a"], ["b"], ["c"], ["a", "b"], ["b", "c"], ["a", "c"], ["a", "b", "c"]][
            int(r.integers(7))])),
    "hall_displaced": _cause("place", "hall_sensor_displaced", lambda r, _: made.HallDisplaced(
        kind="hall_displaced", sensor=_sensor(r), deg=_signed(r, 3.0, 25.0))),
    "hall_board_rotated": _cause("place", "hall_board_rotated", lambda r, _: made.HallBoardRotated(
        kind="hall_board_rotated", deg=_signed(r, 3.0, 25.0))),
    "hall_stuck": _cause("sensor", "hall_sensor_stuck", lambda r, _: made.HallStuck(
        kind="hall_stuck", sensor=_sensor(r), level=str(r.choice(["high", "low"])))),
    "hall_supply_lost": _cause("sensor", "hall_supply_missing", lambda r, _: made.HallSupplyLost(
        kind="hall_supply_lost")),
    "hall_loose": _cause("sensor", "hall_pulse_missing", lambda r, _: made.HallLoose(
        kind="hall_loose", sensor=_sensor(r))),
    "weak_latch": _cause("place", "hall_duty_off excess_hysteresis", lambda r, _: _weak_latch(r)),
    "weak_sensor_ring": _cause("place", "excess_hysteresis", lambda r, _: made.WeakSensorRing(
        kind="weak_sensor_ring", share=1 - _size(r, 0.03, 0.25))),
    "eccentric_sensor_ring": _cause("place", "eccentric_sensor_ring", lambda r, _: made.EccentricSensorRing(
        kind="eccentric_sensor_ring", deg=_size(r, 2.5, 12.0))),
    "hall_bounce": _cause("sensor", "hall_bounce", lambda r, _: made.HallBounce(
        kind="hall_bounce", sensor=_sensor(r))),
    "low_insulation": _cause("insulation", "insulation_low", lambda r, _: made.LowInsulation(
        kind="low_insulation", megohm=_size(r, 0.1, 110.0))),
    "high_drag": _cause("drag", "drag_high", lambda r, _: made.HighDrag(
        kind="high_drag", factor=_size(r, 1.5, 10.0))),
}
# With two pole pairs no edge can show a movement once per revolution: "one pole is weak, or the rotor runs out of
# centre" is then all that can be said.
SAME = {("rotor_eccentric", 2): frozenset({"weak_pole"})}
# What follows from a defect beside its own finding, and is true as well.
ALSO = {"shorted_turns": {"drag_high"}, "reversed_phase": {"drag_high"}, "shorted_phase": {"drag_high"},
        "coil_reversed": {"drag_high"}}


@dataclass(slots=True)
class Tally:
    """What came of all motors."""

    table: Counter[tuple[str, str]] = field(default_factory=Counter)
    counts: Counter[str] = field(default_factory=Counter)
    examples: list[str] = field(default_factory=list)

    def add(self, other: "Tally") -> None:
        """Take in what another process found."""
        self.table.update(other.table)
        self.counts.update(other.counts)
        self.examples += other.examples


def _batch(job: tuple[str, int, int]) -> Tally:
    sort, number, count = job
    random = np.random.default_rng([{"good": 1, "single": 2, "double": 3}[sort], number])
    station, tally, choices = Station(random), Tally(), kinds()
    for index in range(count):
        kind = choices[index % len(choices)]
        {"good": _good, "single": _single, "double": _double}[sort](station, kind, tally, number * count + index)
    return tally


def _codes(name: str, kind: Kind) -> frozenset[str]:
    return CAUSES[name].codes | SAME.get((name, kind.build.pole_pairs), frozenset())


def _good(station: Station, kind: Kind, tally: Tally, _: int) -> None:
    tested = station.test(kind, [])
    tally.counts["good"] += 1
    tally.counts["good refused a pass"] += tested.is_faulty
    tally.counts["good with a finding"] += bool(tested.found)
    tally.counts["good with a finding of a capture alone"] += bool(tested.unlimited)
    if tested.found or tested.unlimited or tested.is_faulty:
        tally.examples.append(f"good {kind.build.name}: {tested.failed} {tested.found} {tested.unlimited}")


def _single(station: Station, kind: Kind, tally: Tally, index: int) -> None:
    name = list(CAUSES)[index % len(CAUSES)]
    drawn = CAUSES[name].draw(station.random, kind)
    tested = station.test(kind, [drawn])
    if not tested.is_faulty:
        tally.table[name, "(passes)"] += 1
        tally.counts["single that passes"] += 1
        tally.counts["single that passes, with a finding"] += bool(tested.found)
        return
    right = _codes(name, kind) & set(tested.found)
    wrong = set(tested.found) - _codes(name, kind) - ALSO.get(name, set())
    tally.counts["single"] += 1
    tally.counts["single right"] += bool(right)
    tally.counts["single with a wrong cause"] += bool(wrong)
    for code in tested.found or ("(nothing)",):
        tally.table[name, code] += 1
    if wrong or not right:
        tally.examples.append(_example(kind, [drawn], tested))


def _double(station: Station, kind: Kind, tally: Tally, _: int) -> None:
    names = [str(name) for name in station.random.choice(list(CAUSES), 2, replace=False)]
    if len({CAUSES[name].group for name in names}) < 2 or "all" in {CAUSES[name].group for name in names}:
        return
    drawn = [CAUSES[name].draw(station.random, kind) for name in names]
    alone = [station.test(kind, [one]).is_faulty for one in drawn]
    if not all(alone):
        return
    tested = station.test(kind, drawn)
    named = [bool(_codes(name, kind) & set(tested.found)) for name in names]
    wrong = set(tested.found).difference(*(_codes(name, kind) | ALSO.get(name, set()) for name in names))
    tally.counts["double"] += 1
    tally.counts["double both named"] += all(named)
    tally.counts["double one named"] += any(named)
    tally.counts["double with a wrong cause"] += bool(wrong)
    if wrong or not any(named):
        tally.examples.append(_example(kind, drawn, tested))


def _example(kind: Kind, drawn: Sequence[made.Defect], tested: Tested) -> str:
    defects = " + ".join(" ".join(str(value) if not isinstance(value, float) else f"{value:.3g}"
                                  for value in one.model_dump().values()) for one in drawn)
    return (f"{kind.build.name} {defects}\n    failed {', '.join(tested.failed)} refused {tested.refused}\n"
            + "\n".join(f"    {code}" for code in tested.found) + "\n    " + "\n    ".join(tested.texts))


def _jobs(sort: str, trials: int) -> list[tuple[str, int, int]]:
    return [(sort, number, BATCH) for number in range(-(-trials // BATCH))]


def _share(counts: Counter[str], part: str, whole: str) -> tuple[float, float]:
    """Share in % and its standard error."""
    total = counts[whole]
    if total == 0:
        return float("nan"), 0.0
    share = counts[part] / total
    return 100 * share, 100 * sqrt(share * (1 - share) / total)


def _figures(counts: Counter[str]) -> list[Figure]:
    return [
        Figure("good motors tested", counts["good"]),
        Figure("good motors that pass", counts["good"] - counts["good refused a pass"], least=counts["good"]),
        Figure("findings on good motors", counts["good with a finding"], most=0),
        Figure("findings of one capture on good motors", counts["good with a finding of a capture alone"], most=0),
        Figure("single defects that fail", counts["single"]),
        Figure("right cause named, single defect", *_share(counts, "single right", "single"), least=99.0, unit="%"),
        Figure("a wrong cause named, single defect", *_share(counts, "single with a wrong cause", "single"), most=1.0,
               unit="%"),
        Figure("findings on motors whose defect passes", counts["single that passes, with a finding"], most=0),
        Figure("pairs of defects that each fail", counts["double"]),
        Figure("both causes named", *_share(counts, "double both named", "double"), unit="%"),
        Figure("at least one cause named", *_share(counts, "double one named", "double"), unit="%"),
        Figure("a wrong cause named, pair", *_share(counts, "double with a wrong cause", "double"), unit="%"),
    ]


def _print_table(table: Counter[tuple[str, str]]) -> None:
    print("\nTrue defect: causes found, in motors")
    for name in CAUSES:
        row = sorted(((count, code) for (true, code), count in table.items() if true == name), reverse=True)
        print(f"  {name:<22} " + ", ".join(f"{code} {count}" for count, code in row))


def main(arguments: Sequence[str] | None = None) -> int:
    """Draw the motors, print the confusion table and its figures; 0 only if all are met."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=10_000, help="good motors; a quarter as many with defects")
    parser.add_argument("--examples", type=int, default=0, help="how many wrong findings to print in full")
    parser.add_argument("--processes", type=int, default=2)
    chosen = parser.parse_args(arguments)
    jobs = [*_jobs("single", chosen.trials // SINGLES), *_jobs("double", chosen.trials // DOUBLES),
            *_jobs("good", chosen.trials)]
    total = Tally()
    with ProcessPoolExecutor(chosen.processes) as pool:
        for tally in pool.map(_batch, jobs):
            total.add(tally)
    for example in total.examples[:chosen.examples]:
        print(example)
    _print_table(total.table)
    return print_figures("Causes named", _figures(total.counts))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
