"""A population of motors as a line makes them: three lots of which one drifts, some defects, and some escapes.

Everything is drawn from a seed. Two kinds of bad motors are among them and known as such: those with a gross defect,
and those with one sensor a little displaced, which jerk at the start in the customer's pump.
"""

import json
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from station.simulated import defect as made
from station.simulated.lot import LotMotor, MotorBuild

LOTS = ("A", "B", "C")
DRIFTING = "C"
DRIFT_DEG = 1.5             # by how much the sensor board has turned at the end of the drifting lot: its jig wears
DEFECT_SHARE = 0.02         # of the motors: gross defects
DISPLACED_SHARE = 0.04      # of the motors: a sensor a little displaced
DISPLACED_DEG = (2.0, 2.8)  # either way

Random = np.random.Generator


@dataclass(frozen=True, slots=True)
class Drawn:
    """The motors in the order of production, and what is wrong with each that is bad, by serial."""

    motors: tuple[LotMotor, ...]
    bad: dict[str, str]


def draw_population(build: MotorBuild, count: int, mark: str, seed: int) -> Drawn:
    """Draw `count` motors of one type; serials begin with `mark` and the letter of the lot."""
    random = np.random.default_rng([seed, 5])
    motors: list[LotMotor] = []
    bad: dict[str, str] = {}
    for index in range(count):
        lot, place = divmod(index * len(LOTS), count)
        serial = f"{mark}{LOTS[lot]}{index + 1:04d}"
        wrong = _wrong(random)
        defects: list[made.Defect] = [wrong] if wrong is not None else []
        if wrong is not None:
            bad[serial] = wrong.kind
        if LOTS[lot] == DRIFTING:
            defects.append(made.HallBoardRotated(kind="hall_board_rotated", deg=DRIFT_DEG * place / count))
        motors.append(LotMotor(serial=serial, type=build.name, defects=defects))
    return Drawn(tuple(motors), bad)


def known_bad_toml(drawn: Drawn) -> str:
    """Return the bad motors as a file, for studies of what limits let pass."""
    rows = "".join(f'\n[[motor]]\nserial = "{serial}"\nfault = "{fault}"\n' for serial, fault in drawn.bad.items())
    return f"# Motors known to be bad, whatever their test said, each with what is wrong with it.\nformat = 1\n{rows}"


def motors_toml(drawn: Drawn) -> str:
    """Return the motors as entries of a lot file, so that a simulated bench can test the same ones again."""
    return "\n# --- a population drawn from a seed ---\n" + "".join(
        f'\n[[motor]]\nserial = "{motor.serial}"\ntype = "{motor.type}"\n'
        + (f"defects = [{', '.join(_inline(defect) for defect in motor.defects)}]\n" if motor.defects else "")
        for motor in drawn.motors)


def _inline(defect: made.Defect) -> str:
    """Return a defect as a table on one line; JSON writes texts and numbers as TOML does."""
    return "{ " + ", ".join(f"{key} = {json.dumps(value)}" for key, value in defect.model_dump().items()) + " }"


def _wrong(random: Random) -> made.Defect | None:
    """Draw what is wrong with a motor; None with most."""
    share = float(random.uniform())
    if share < DEFECT_SHARE:
        return _GROSS[int(random.integers(len(_GROSS)))](random)
    if share < DEFECT_SHARE + DISPLACED_SHARE:
        return made.HallDisplaced(kind="hall_displaced", sensor=_one_of(random),
                                  deg=float(random.choice([-1.0, 1.0]) * random.uniform(*DISPLACED_DEG)))
    return None


def _one_of(random: Random) -> made.Phase:
    names: tuple[made.Phase, ...] = ("a", "b", "c")
    return names[int(random.integers(len(names)))]


_GROSS: tuple[Callable[[Random], made.Defect], ...] = (
    lambda r: made.ShortedTurns(kind="shorted_turns", phase=_one_of(r), share=float(r.uniform(0.06, 0.2))),
    lambda r: made.WeakMagnets(kind="weak_magnets", share=float(r.uniform(0.06, 0.15))),
    lambda _: made.HallWires(kind="hall_wires", order="acb"),
    lambda r: made.LowInsulation(kind="low_insulation", megohm=float(r.uniform(2.0, 60.0))),
    lambda r: made.HighDrag(kind="high_drag", factor=float(r.uniform(3.0, 6.0))),
)
