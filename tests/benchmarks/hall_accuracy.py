"""How close the Hall edges come to the Cramer-Rao bound, and whether their uncertainties are right, by Monte Carlo.

The bound of a mean angle is what the EMF's bound leaves unsure of the rotor's angle at the edges' times, plus
s² Ts / integral g'² per edge and its jitter², over the number of edges; s² is the noise's variance plus q²/12.
An exponential's half level is bounded with its time constant unknown. Edges faster than a sample have no
bound: theirs is the standard deviation 1/sqrt(12) sample of a time known to lie between two samples.
"""

import os

os.environ["OPENBLAS_NUM_THREADS"] = "1"

import argparse
import sys
from multiprocessing import Pool

import numpy as np
from emf_waves import Condition
from figures import Figure, print_figures
from hall_waves import EDGES, LAYOUT, MOTOR, Decay, HallCondition, Ramp, bounds, capture_of

from station.analysis.analyse import analyse_capture

MOST_RATIO, MOST_BIAS = 1.05, 0.2
LEAST_U, MOST_U = 0.8, 1.3          # mean stated uncertainty over standard deviation
GROUPS = {"hall_angle_": "mean angles", "hall_sector_": "code widths", "hall_duty": "duty"}
EXTRA = {"hall_jitter": "jitter", "hall_eccentricity": "eccentricity"}

CONDITIONS = (
    HallCondition("constant speed, noise 0.5 %"),
    HallCondition("noise 0.2 %", Condition("", noise=0.002)),
    HallCondition("noise 1 %", Condition("", noise=0.01)),
    HallCondition("10 bit, noise 0.2 %", Condition("", noise=0.002, bits=10)),
    HallCondition("ripple 0.5 % once per revolution", Condition("", ripple=0.005)),
    HallCondition("drift 0.2 %", Condition("", drift=0.002)),
    HallCondition("ripple 0.3 % at 3.7 per revolution", Condition("", foreign=0.003)),
    HallCondition("exponential rise, ramp down", rising=Decay(5.0), falling=Ramp(4.0)),
    HallCondition("exponentials of 12 and 4 samples", rising=Decay(12.0), falling=Decay(4.0)),
    HallCondition("ramps of 40 samples, noise 1 %", Condition("", noise=0.01), Ramp(40.0), Ramp(40.0)),
    HallCondition("jitter 0.05 deg, eccentric by 0.3 deg, ripple 0.5 %", Condition("", ripple=0.005), jitter=0.05,
                  eccentric=0.3),
)


def trial(job):
    """Errors of one capture by name, and the uncertainties stated from what scatters (type A)."""
    condition, seed = job
    rng = np.random.default_rng([seed, [each.name for each in CONDITIONS].index(condition.name)])
    capture, turned = capture_of(condition, rng)
    found = analyse_capture(capture, MOTOR)
    if found.refused is not None:
        raise SystemExit(f"{condition.name}, seed {seed}: refused, {found.refused.text}")
    expected = _expected(condition, turned)
    measured = found.measurements
    errors = [(measured[name].value - value + 180.0) % 360.0 - 180.0 for name, value in expected.items()]
    stated = [np.sqrt(sum(row.u**2 for row in measured[name].budget if row.kind == "A")) for name in expected]
    return errors, stated


def _expected(condition, turned):
    """What each characteristic must be."""
    found = {}
    for sensor, goes_high in EDGES:
        declared = LAYOUT.rise_deg["abc".index(sensor)]
        found[f"hall_angle_{'rise' if goes_high else 'fall'}.{sensor}"] = declared + turned + 180.0 * (not goes_high)
    found |= {f"hall_sector_{number}": 60.0 for number in range(1, 7)} | {f"hall_duty.{s}": 50.0 for s in "abc"}
    if condition.jitter:
        found |= {f"hall_jitter.{s}": condition.jitter for s in "abc"}
        found |= {f"hall_eccentricity.{s}": condition.eccentric for s in "abc"}
    return found


def figures_of(condition, results):
    """Ratio to the bound, bias, and stated over true scatter of each group, members pooled."""
    names = list(_expected(condition, 0.0))
    limits = bounds(condition)
    errors, stated = (np.array(each) for each in zip(*results, strict=True))
    for stem, title in (GROUPS | EXTRA).items():
        members = [i for i, name in enumerate(names) if name.startswith(stem)]
        if not members:
            continue
        own, u = errors[:, members], np.sqrt(np.mean(stated[:, members]**2, axis=0))
        sd = own.std(axis=0, ddof=1)
        if stem in GROUPS:
            yield Figure(f"{title}: sd / bound", *_pooled(own / [limits[names[i]] for i in members]), most=MOST_RATIO)
            yield Figure(f"{title}: bias / sd", float(np.abs(own.mean(axis=0) / sd).max()), 1 / np.sqrt(len(own)),
                         most=MOST_BIAS)
        else:
            yield Figure(f"{title}: bias", float(own.mean()), unit="deg")
        ratio, error = _pooled(own / u)
        yield Figure(f"{title}: stated u / sd", 1 / ratio, error / ratio**2, LEAST_U, MOST_U)


def _pooled(errors):
    """Standard deviation of all members together and its standard error; errors of one trial may hang together."""
    squares = ((errors - errors.mean(axis=0))**2).mean(axis=1) * len(errors) / (len(errors) - 1)
    ratio = float(np.sqrt(squares.mean()))
    return ratio, float(squares.std(ddof=1) / np.sqrt(len(errors)) / (2 * ratio))


def main(arguments=None):
    """Print the table; return 1 if a figure is not met."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=200)
    parser.add_argument("--processes", type=int, default=2)
    words = parser.parse_args(arguments)
    missed = 0
    with Pool(words.processes) as pool:
        for condition in CONDITIONS:
            jobs = [(condition, seed) for seed in range(words.trials)]
            results = pool.map(trial, jobs, chunksize=10)
            missed |= print_figures(f"{condition.name}: {words.trials} trials", list(figures_of(condition, results)))
    return missed


if __name__ == "__main__":
    sys.exit(main())
