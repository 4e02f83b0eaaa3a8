"""Populations drawn at random, without a store."""

import numpy as np

from station.characteristic import characteristic_of
from station.study.choice import Choice
from station.study.population import Population, Sample


def sample_of(key, values, *, lower=None, upper=None, u=0.01, absent=None, rows=None):
    name, _, label = key.partition("@")
    known = characteristic_of(name)
    values = np.asarray(values, dtype=np.float64)
    return Sample(key, name, label, known.unit, known.nature, lower, upper,
                  np.arange(values.size) if rows is None else rows, values, np.full(values.size, u), absent or {})


def population_of(*samples, lots=None, stations=None, passed=None, choice=None):
    n = max((int(sample.rows.max()) + 1 for sample in samples if sample.rows.size), default=0)
    lots = np.zeros(n, dtype=np.int64) if lots is None else np.asarray(lots)
    stations = np.zeros(n, dtype=np.int64) if stations is None else np.asarray(stations)
    serials = tuple(f"CP40-{k:04}" for k in range(n))
    good = n if passed is None else passed
    started = tuple(f"2026-11-25T{10 + k // 3600:02}:{k // 60 % 60:02}:{k % 60:02}Z" for k in range(n))
    return Population(
        "CP-40", "A", choice or Choice(), (("eol-1", n, "0" * 64),), serials, (1,) * n, started,
        ("PASS",) * good + ("FAIL",) * (n - good), tuple(f"K{k + 1:02}" for k in range(int(lots.max()) + 1)),
        tuple(f"EOL-{k + 1}" for k in range(int(stations.max()) + 1)), lots, stations, 1, samples)
