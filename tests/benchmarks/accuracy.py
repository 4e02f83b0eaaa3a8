"""How close the estimates of speed and back-EMF come to the Cramer-Rao bound, by Monte Carlo."""

import os

os.environ["OPENBLAS_NUM_THREADS"] = "1"

import argparse
import sys
from multiprocessing import Pool

import numpy as np
from emf_waves import (
    AMPLITUDE,
    CONDITIONS,
    LINES,
    MOTOR,
    ORDERS,
    POLE_PAIRS,
    RATE,
    SAMPLES,
    X,
    bound,
    capture_of,
    exact_waves,
    truth_of,
)
from figures import Figure, print_figures

from station.analysis.analyse import analyse_capture
from station.analysis.angle_track import first_motion, track_waves
from station.analysis.gate import expected_frequency, find_tone
from station.analysis.line_voltages import ORDERS as HIGHEST
from station.analysis.line_voltages import read_lines

KRPM_VOLTS = AMPLITUDE / 1.507       # V/krpm of the fundamental
MOST_RATIO, MOST_BIAS, MOST_ANGLE = 1.05, 0.2, 0.02
GROUPS = {"speed": "speed", "back_emf_constant_fundamental": "back-EMF constant, fundamental",
          "back_emf_constant_rms": "back-EMF constant, rms", "phase_angle": "phase angle",
          "harmonic_5": "harmonic 5", "harmonic_13": "harmonic 13", "harmonic_25": "harmonic 25", "thd": "THD"}


def quantities(truth, waves):
    """What is estimated, from the parameters alone: definitions, no estimator."""
    turn = 2 * np.pi * POLE_PAIRS
    whole = np.floor(truth.turn / turn) * turn
    lo, hi = (_when(truth, side * whole / 2) for side in (-1.0, 1.0))
    found = {"speed": whole / POLE_PAIRS / ((hi - lo) * SAMPLES / RATE) * 60 / (2 * np.pi)}
    sizes = np.abs(waves)
    for line, name in enumerate(LINES):
        found[f"back_emf_constant_fundamental.{name}"] = KRPM_VOLTS * sizes[line, 0]
        found[f"back_emf_constant_rms.{name}"] = KRPM_VOLTS * np.sqrt((sizes[line]**2).sum() / 2)
        found[f"thd.{name}"] = 100 * np.sqrt((sizes[line, 1:]**2).sum()) / sizes[line, 0]
        for order in ORDERS:
            if order > 1:
                found[f"harmonic_{order}.{name}"] = 100 * sizes[line, order - 1] / sizes[line, 0]
    for line in (1, 2):
        turned = np.angle(waves[0, 0] / waves[line, 0], deg=True)
        found[f"phase_angle.{LINES[line]}"] = float(turned)
    return found


def _when(truth, angle):
    """Place x at which the rotor has turned by `angle` from the middle of the turned way, by Newton's method."""
    first, last = truth.motion(np.array([-0.5, 0.5 - 1 / SAMPLES]))[0]
    wanted, x = 0.5 * (first + last) + angle, angle / truth.turn
    for _ in range(8):
        at, speed = truth.motion(np.array(x))
        x -= (float(at) - wanted) / (float(speed) * SAMPLES / RATE)
    return x


def trial(job):
    """Values of one capture, what they must be, and the rms error of the angle in degrees."""
    condition, seed = job
    rng = np.random.default_rng([seed, CONDITIONS.index(condition)])
    truth = truth_of(condition)
    capture = capture_of(truth, condition, rng)
    found = analyse_capture(capture, MOTOR)
    if found.refused is not None:
        raise SystemExit(f"{condition.name}, seed {seed}: refused, {found.refused.text}")
    expected = quantities(truth, exact_waves(truth))
    lines = read_lines(capture, expected_frequency(capture, MOTOR))
    start, _rest = first_motion(lines, find_tone(lines, capture, MOTOR), POLE_PAIRS)
    tracked = track_waves(lines, start, POLE_PAIRS, HIGHEST)
    error = tracked.angle - truth.motion(lines.times * RATE / SAMPLES + X[0])[0]
    return ([found.measurements[name].value - value for name, value in expected.items()],
            float(np.rad2deg(error.std())))


def figures_of(condition, results):
    """Ratio to the bound and bias of each group, members pooled; the standard error of each."""
    names = list(quantities(truth_of(condition), exact_waves(truth_of(condition))))
    limits = bound(condition, quantities)
    errors = np.array([errors for errors, _ in results]) / [limits[name] for name in names]
    for stem, title in GROUPS.items():
        members = [i for i, name in enumerate(names) if name.split(".")[0] == stem]
        ratio = np.sqrt(errors[:, members].var(axis=0, ddof=1).mean())
        free = len(members) * (len(results) - 1)
        yield Figure(f"{title}: sd / bound", ratio, ratio / np.sqrt(2 * free), most=MOST_RATIO)
        bias = errors[:, members].mean(axis=0)
        worst = float(np.abs(bias).max()) / ratio
        yield Figure(f"{title}: bias / sd", worst, 1 / np.sqrt(len(results)), most=MOST_BIAS)
    angle = float(np.sqrt(np.mean([angle**2 for _, angle in results])))
    yield Figure("angle track: rms error", angle, most=MOST_ANGLE, unit="deg")


def main(arguments=None):
    """Print the table; return 1 if a figure is not met."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=200)
    trials = parser.parse_args(arguments).trials
    missed = 0
    with Pool(2) as pool:
        for condition in CONDITIONS:
            results = pool.map(trial, [(condition, seed) for seed in range(trials)], chunksize=10)
            missed |= print_figures(f"{condition.name}: {trials} trials", list(figures_of(condition, results)))
    return missed


if __name__ == "__main__":
    sys.exit(main())
