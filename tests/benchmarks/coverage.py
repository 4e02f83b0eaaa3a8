"""How often the stated uncertainty holds the truth: drawn motors through instruments with drawn errors.

The interval is k u with k for 95.45 % from the whole part of the degrees of freedom. Truths are known by
formula; every error of the budgets is drawn once per motor, noise for every sample. Two rounds, because a
limit of error is rectangular and its interval at k = 2 always holds it:

- errors drawn normal, of the budget's own standard uncertainty: 93 to 97 % must be held. This tests the
  sensitivities and how the rows are combined; a row too large shows as well as one too small.
- errors drawn as stated, anywhere within their limits: at least 93 % must be held. Where one limit rules
  the budget nearly all are, which is no fault of the budget.

Characteristics that are bounds on purpose, or hold an effect that these motors do not have at full size,
are listed in CONSERVATIVE with the reason, and must hold at least 93 % in both rounds.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import sys
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from math import sqrt
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

import coverage_motors as drawn
from figures import Figure, print_figures

from station.analysis.analyse import analyse_capture
from station.analysis.directions import combine_directions
from station.analysis.winding import at_temperature, winding_resistance
from station.certificate.number_format import coverage_factor
from station.measurement import Measurement
from station.motor import LINES

LEAST, MOST = 93.0, 97.0
OHM_GAIN, OHM_OFFSET = 1e-3, 5e-4
CONSERVATIVE = {
    "commutated_torque_ripple": "an extreme at an edge moves one way only; the larger of both ways stands for either",
    "hall_transition": "edges here are ramps, which the fitted shape knows; real ones are given a sample interval",
}
DRAWS = {"normal": drawn.normal, "rectangular": drawn.rectangular}

# of one motor: for each characteristic, error over u and over U of each value
Found = dict[str, list[tuple[float, float]]]


def measure_motor(seed: int, shape: str) -> Found:
    """Measure one drawn motor in both directions, and compare every value with its truth."""
    random = np.random.default_rng(seed)
    draw = DRAWS[shape]
    errors, motor = drawn.draw_errors(random, draw), drawn.draw_motor(random)
    found: Found = defaultdict(list)
    hertz, captures = random.uniform(150, 250), []
    for direction in (1, -1):
        spin = drawn.draw_spin(random, motor, errors, direction, hertz)
        analysed = analyse_capture(drawn.take_capture(random, motor, errors, spin), motor.kind)
        if analysed.refused is not None:
            raise SystemExit(f"seed {seed}: {analysed.refused.text}")
        _compare(found, analysed.measurements, drawn.true_capture(motor, spin))
        captures.append(analysed)
    _compare(found, combine_directions(captures[0], captures[1]), drawn.true_both(motor))
    _compare(found, *_resistances(random, motor, draw))
    return dict(found)


def _resistances(random: drawn.Random, motor: drawn.Motor, draw: drawn.Draw
                 ) -> tuple[dict[str, Measurement], dict[str, float]]:
    """Four-wire indications at room temperature, and what they should come to."""
    reference, degrees = motor.kind.reference, random.uniform(15, 35)
    gain, late = 1 + draw(random, OHM_GAIN), draw(random, 1.0)
    shown = {line: gain * at_temperature(ohm, reference.temperature_c, degrees) + draw(random, OHM_OFFSET)
             for line, ohm in motor.resistance.items()}
    mean = sum(motor.resistance.values()) / 3
    truth = {f"winding_resistance.{line}": motor.resistance[line] for line in LINES}
    truth["winding_resistance_spread"] = 100 * max(abs(ohm - mean) for ohm in motor.resistance.values()) / mean
    return winding_resistance(shown, degrees + late, motor.kind, OHM_GAIN, OHM_OFFSET, 1.0), truth


def _compare(found: Found, measured: Mapping[str, Measurement], truth: Mapping[str, float]) -> None:
    for name, value in truth.items():
        if name not in measured:
            raise SystemExit(f"{name} was not measured")
        m = measured[name]
        error = m.value - value
        if m.unit == "deg":
            error = (error + 180) % 360 - 180
        k = coverage_factor(m.dof) or 0.0
        found[name.partition(".")[0] + (".mean" if name.endswith(".mean") else "")].append(
            (error / m.u, error / (k * m.u)) if m.u > 0 and k > 0 else (np.inf, np.inf))


def _figures(motors: Iterable[Found], shape: str, detail: bool) -> list[Figure]:
    """Share of intervals that hold the truth; its error from motor to motor, for values of one motor go together."""
    by_name: dict[str, list[list[tuple[float, float]]]] = defaultdict(list)
    for found in motors:
        for name, values in found.items():
            by_name[name].append(values)
    figures = []
    for name, values in sorted(by_name.items()):
        shares = np.array([100 * np.mean([abs(over) <= 1 for _, over in each]) for each in values])
        mean = float(shares.mean())
        # At 100 % the spread says nothing; a single miss more would be 100 / n.
        error = max(float(shares.std(ddof=1)) / sqrt(shares.size), 100 / shares.size / sqrt(3))
        most = MOST if shape == "normal" and name not in CONSERVATIVE else None
        figures.append(Figure(f"{name}, {shape}", mean, error, LEAST, most, "%"))
        if detail:
            z = np.concatenate([[each for each, _ in value] for value in values])
            print(f"{name:34} {mean:6.2f}  error/u: mean {z.mean():+6.3f} rms {np.sqrt((z**2).mean()):6.3f}")
    return figures


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the benchmark and return its exit code."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--trials", type=int, default=1000, help="motors drawn normal; half as many as stated")
    parser.add_argument("--seed", type=int, default=20261125)
    parser.add_argument("--detail", action="store_true", help="mean and rms of error over u")
    words = parser.parse_args(arguments)
    failed = 0
    with ProcessPoolExecutor(2) as pool:
        for number, shape in enumerate(DRAWS):
            trials = words.trials if shape == "normal" else max(2, words.trials // 2)
            seeds = range(words.seed + number * 10**6, words.seed + number * 10**6 + trials)
            motors = list(pool.map(measure_motor, seeds, [shape] * trials, chunksize=10))
            figures = _figures(motors, shape, words.detail)
            failed |= print_figures(f"coverage at 95.45 %, {trials} motors, errors drawn {shape}", figures)
    return failed


if __name__ == "__main__":
    sys.exit(main())
