"""What the analysis costs against one copy of the samples, one transform and one generic fit, in one run."""

import os

os.environ["OPENBLAS_NUM_THREADS"] = "1"

import argparse
import sys
import tracemalloc
from time import perf_counter

import numpy as np
from emf_waves import AMPLITUDE, LINES, ORDERS
from figures import Figure, print_figures
from scipy.optimize import curve_fit

from station.analysis.analyse import analyse_capture
from station.capture import Accuracy, Capture, Channel
from station.motor import HallLayout, MotorType, Reference

SAMPLES, PERIODS, POLE_PAIRS, DURATION = 1_000_000, 41.54, 4, 0.4
EDGE = DURATION / (PERIODS * np.pi * 5e-6)      # slope of the sensors' edges over their swing, 1/rad
MOTOR = MotorType("T-1", POLE_PAIRS, "star", 48.0, "clockwise", "drive end", HallLayout(120, (0.0, 120.0, 240.0)),
                  Reference())
REPEATS = 40


def capture_of(samples):
    """Six channels of `samples`: waves with noise and sensors whose edges take some samples."""
    rng = np.random.default_rng(samples)
    angle = 2 * np.pi * PERIODS * (np.arange(samples) / samples) + 0.65
    angle += 0.02 * np.sin(angle / POLE_PAIRS)                 # 0.5 % ripple once per revolution
    codes, channels = {}, {}
    for line, name in enumerate(LINES):
        own = angle - np.deg2rad(120.0 * line)
        volts = AMPLITUDE * sum(share * np.sin(h * own + np.deg2rad(phase)) for h, (share, phase) in ORDERS.items())
        codes[f"v_{name}"] = np.round((volts + 0.04 * rng.standard_normal(samples)) / 3e-4).astype(np.int16)
        channels[f"v_{name}"] = Channel(3e-4)
        sensor = "abc"[line]
        # From low to high in 5 us, straight, as an open collector with a short cable does about.
        level = 2.5 + 2.5 * np.clip(EDGE * np.sin(own), -1, 1) + 0.01 * rng.standard_normal(samples)
        codes[f"h_{sensor}"] = np.round(level / 2e-4).astype(np.int16)
        channels[f"h_{sensor}"] = Channel(2e-4)
    speed = 2 * np.pi * PERIODS / POLE_PAIRS / DURATION
    return Capture(codes, channels, DURATION / samples, 0.0, speed, speed, 20.0, Accuracy(), "forward 1500")


def best_times(jobs, repeats=REPEATS):
    """Least time (s) of each of the jobs, taken in turns so that a busy machine slows them alike."""
    times = {name: [] for name in jobs}
    for _ in range(repeats):
        for name, job in jobs.items():
            start = perf_counter()
            job()
            times[name].append(perf_counter() - start)
    return {name: min(each) for name, each in times.items()}


def generic_fit(capture):
    """Three sine fits of four parameters by a general curve fit, started from what the drive and a glance tell."""
    times = np.arange(capture.size) * capture.sample_interval
    rate = 2 * np.pi * PERIODS / DURATION

    def sine(t, amplitude, speed, phase, offset):
        return amplitude * np.sin(speed * t + phase) + offset

    for name in LINES:
        volts = capture.codes[f"v_{name}"] * 3e-4
        curve_fit(sine, times, volts, p0=(float(volts.max()), 1.0005 * rate, 0.0, 0.0))


def ratios():
    """Figures of one record of 6 x 1 M samples."""
    capture = capture_of(SAMPLES)
    found = analyse_capture(capture, MOTOR)
    if found.refused is not None:
        raise SystemExit(found.refused.text)
    array = np.array([capture.codes[name] for name in sorted(capture.codes)])
    times = best_times({"copy": array.copy, "13": lambda: analyse_capture(capture, MOTOR, 13),
                        "25": lambda: analyse_capture(capture, MOTOR, 25)})
    transform = best_times({"rfft": lambda: np.fft.rfft(array, axis=1)}, 3)["rfft"]
    generic = best_times({"fit": lambda: generic_fit(capture)}, 2)["fit"]
    copy = times["copy"]
    print(f"  one copy of 6 x 1 M int16 takes {1e3 * copy:.2f} ms here")
    return [Figure("analysis with 13 orders / copy", times["13"] / copy, most=12.0),
            Figure("analysis with 25 orders / copy", times["25"] / copy, most=25.0),
            Figure("one rfft of the record / analysis with 25 orders", transform / times["25"], least=4.0),
            Figure("three curve fits of sines / analysis with 13 orders", generic / times["13"], least=50.0),
            Figure("three curve fits of sines / analysis with 25 orders", generic / times["25"])]


def growth(sizes):
    """Cost against samples of the same revolutions: first overhead, then in proportion to the samples."""
    print("\nCost against samples (25 orders)")
    times = []
    for size in sizes:
        capture = capture_of(size)
        times.append(best_times({"all": lambda c=capture: analyse_capture(c, MOTOR)}, 5)["all"])
        bar = "#" * int(12 * np.log10(1e3 * times[-1]) + 1)       # a decade of cost is twelve long
        print(f"  {size:>10,} samples  {1e3 * times[-1]:9.2f} ms  {1e9 * times[-1] / size:8.1f} ns a sample  {bar}")
    return [Figure("cost of 10 M over 1 M samples", times[-1] / times[-2], most=12.0)]


def memory():
    """Peak of what the analysis allocates beside the record, over the record."""
    capture = capture_of(SAMPLES)
    size = sum(codes.nbytes for codes in capture.codes.values())
    analyse_capture(capture, MOTOR)
    tracemalloc.start()
    analyse_capture(capture, MOTOR)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return [Figure("peak memory, record included / record", 1 + peak / size, most=1.5)]


def main(arguments=None):
    """Print the tables; return 1 if a figure is not met."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--most", type=int, default=10_000_000, help="samples of the longest record")
    most = parser.parse_args(arguments).most
    print("\nSpeed, ratios within one run")
    missed = print_figures("6 x 1 M samples", ratios())
    missed |= print_figures("growth", growth([n for n in (10_000, 100_000, 1_000_000, 10_000_000) if n <= most]))
    return missed | print_figures("memory", memory())


if __name__ == "__main__":
    sys.exit(main())
