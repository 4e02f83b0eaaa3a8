"""A million stored runs of 40 characteristics judged again, beside what three general engines take on the same file."""

import argparse
import sys
import tempfile
from dataclasses import replace
from pathlib import Path
from time import perf_counter

import numpy as np
import pyarrow as pa
from engines import ENGINES
from figures import Figure, print_figures

from station.judgement.limit_file import LimitFile, parse_limits
from station.study.decide import PASS
from station.study.limit_sweep import Candidates, sweep
from station.study.rejudge import demands, rejudge
from station.study.table_file import About, TableFile, write_table
from station.toml_file import parse_toml

CHARACTERISTICS = 40
SEQUENCE = "5" * 64
NAMES = [f"harmonic_{order}.{line}" for order in range(2, 16) for line in ("ab", "bc", "ca")][:CHARACTERISTICS]
LABEL = "forward 1000"
HEAD = """
format = 1
[type]
name = "CP-40"
pole_pairs = 4
winding = "star"
rated_voltage_V = 48.0
[revision]
number = "A"
[limits]
"""


def limit_file(upper: float, changed: dict[str, float] | None = None) -> LimitFile:
    """Return a limit file with the same upper limit on each characteristic but a few."""
    lines = [f'"{name}@{LABEL}" = {{ unit = "%", lower = -{upper}, upper = {(changed or {}).get(name, upper)} }}'
             for name in NAMES]
    return parse_limits(parse_toml((HEAD + "\n".join(lines)).encode(), "cp-40.toml"))


def drawn(place: int, rows: int) -> tuple[np.ndarray, np.ndarray]:
    """Return values of one characteristic, normal of standard deviation 1, and uncertainties about 0.1.

    A run in a hundred is of a motor whose values spread more; one value in ten thousand is missing.
    """
    rng = np.random.default_rng([1, place])
    value, u = rng.normal(0, 1, rows), 0.1 * rng.uniform(0.8, 1.2, rows)
    value[::100] *= 1.5
    value[rng.random(rows) < 1e-4] = np.nan
    return value, u


def make_table(path: Path, rows: int, limits: LimitFile) -> None:
    """Write the table of such runs as they were judged by `limits`; each column is drawn twice, to spare memory."""
    missing, failed = np.zeros(rows, np.int64), np.zeros(rows, np.int64)
    asked = demands(limits, [LABEL])
    for place, demand in enumerate(asked):
        value, u = drawn(place, rows)
        width = demand.bound.decision.guard_factor * u
        missing += np.isnan(value)
        failed += (value < demand.bound.lower + width) | (value > demand.bound.upper - width)
    verdict = np.where(failed > 0, "FAIL", np.where(missing > 0, "NO RESULT", "PASS"))
    order = np.lexsort((np.arange(rows), verdict != "PASS"))
    of_run = {"seq": np.arange(rows), "failed": failed, "missing": missing, "refused": np.zeros(rows, bool),
              "trouble": np.zeros(rows, bool), "broken": np.zeros(rows, bool), "verdict": verdict,
              "limit_sha256": np.full(rows, limits.sha256), "sequence_sha256": np.full(rows, SEQUENCE)}
    fields = [(pa.field(name, pa.array(column[:1]).type), pa.array(column[order])) for name, column in of_run.items()]
    for place, demand in enumerate(asked):
        value, u = (column[order] for column in drawn(place, rows))
        fields += [
            (pa.field(demand.column, pa.float64(), metadata={"unit": "%"}), pa.array(value, from_pandas=True)),
            (pa.field(f"u({demand.column})", pa.float64()), pa.array(u)),
            (pa.field(f"status({demand.column})", pa.int8()), pa.array(np.isnan(value).astype(np.int8)))]
    table = pa.table([column for _, column in fields], schema=pa.schema([field for field, _ in fields]))
    values = tuple(demand.column for demand in asked)
    write_table(path, table, About("CP-40", "A", "EOL-1", rows, "", values, {SEQUENCE: (LABEL,)}))


def best_time(job, repeats: int) -> tuple[float, object]:
    """Return the least time of some repeats in s, and what the job returns."""
    times = []
    for _ in range(repeats):
        start = perf_counter()
        found = job()
        times.append(perf_counter() - start)
    return min(times), found


def passes(path: Path, draft: LimitFile, in_force: dict[str, LimitFile]) -> int:
    """Return how many runs pass by a draft, the file opened anew."""
    return int((rejudge(TableFile(path), draft, in_force).new == PASS).sum())


def compare(path: Path, name: str, draft: LimitFile, in_force: dict[str, LimitFile], repeats: int
            ) -> tuple[list[Figure], float, float]:
    """Return figures of one draft, our time, and the best time of the engines; all must count the same."""
    taken, counted = {}, set()
    own, number = best_time(lambda: passes(path, draft, in_force), repeats)
    counted.add(number)
    for engine, ask in ENGINES.items():
        taken[engine], number = best_time(lambda ask=ask: ask(path, demands(draft, [LABEL])), repeats)
        counted.add(number)
    assert len(counted) == 1, counted
    found = [Figure(f"{name}: {engine}", time, unit="s") for engine, time in taken.items()]
    return [*found, Figure(f"{name}: ours", own, unit="s")], own, min(taken.values())


def main(arguments: list[str] | None = None) -> int:
    """Print the table; return 1 if a figure is not met."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=1_000_000)
    parser.add_argument("--repeats", type=int, default=3)
    given = parser.parse_args(arguments)
    in_force = limit_file(5.0)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "CP-40-A.parquet"
        make_table(path, given.rows, in_force)
        print(f"\n{given.rows:,} runs of {CHARACTERISTICS} characteristics, {path.stat().st_size / 1e6:.0f} MB")
        tighter, looser = limit_file(3.0), limit_file(5.5)      # the first within every group's values
        few = limit_file(5.0, {NAMES[3]: 4.5, NAMES[20]: 4.0})
        known = {in_force.sha256: in_force}
        found, full, best = compare(path, "every limit tighter, judged whole", tighter, {}, given.repeats)
        found.append(Figure("  ours over the best of them", full / best, most=1.0))
        more, own, best_loose = compare(path, "every limit looser, judged whole", looser, {}, given.repeats)
        found += [*more, Figure("  ours over the best of them", own / best_loose, most=1.0)]
        more, own, best_few = compare(path, "two limits tighter", few, known, given.repeats)
        found += [*more, Figure("  the best of them over ours", best_few / own, least=10.0)]
        candidates = Candidates(f"{NAMES[3]}@{LABEL}", "upper", tuple(np.linspace(2.0, 6.0, 200)))
        swept, curve = best_time(lambda: sweep(TableFile(path), in_force, known, candidates), given.repeats)
        for k in (0, 77, 199):
            limits = replace(in_force, sha256="", limits=tuple(
                replace(limit, upper=candidates.bounds[k]) if limit.key == candidates.key else limit
                for limit in in_force.limits))
            assert curve.passed[k] == passes(path, limits, known)
        found += [Figure("200 candidates of one limit: ours", swept, unit="s"),
                  Figure("  over judging the whole once", swept / full, most=1.0)]
    return print_figures("judging again", found)


if __name__ == "__main__":
    sys.exit(main())
