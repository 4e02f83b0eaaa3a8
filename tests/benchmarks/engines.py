"""The same judgement by three general engines on the same table file: how often a run passes by given demands.

Each takes its own best way. All read values and uncertainties, none can solve for a guard band, so that demands are
to be one-sided, simple, or wide against their uncertainty. Missing values are null in the file.
"""

from functools import reduce

import duckdb
import pandas as pd
import polars as pl


def drawn_in(demand):
    """Return lower, upper and how many standard uncertainties they are drawn in."""
    bound = demand.bound
    return bound.lower, bound.upper, 0.0 if bound.decision.rule == "simple" else bound.decision.guard_factor


def columns_needed(demands):
    return list(dict.fromkeys(name for d in demands for name in (d.column, f"u({d.column})")))


def by_pandas(path, demands):
    frame = pd.read_parquet(path, columns=["trouble", "refused", *columns_needed(demands)])
    passed = ~frame["trouble"].to_numpy() & ~frame["refused"].to_numpy()
    for d in demands:
        lower, upper, factor = drawn_in(d)
        value, u = frame[d.column].to_numpy(), frame[f"u({d.column})"].to_numpy()
        if lower is not None:
            passed &= value >= lower + factor * u       # never true for NaN
        if upper is not None:
            passed &= value <= upper - factor * u
    return int(passed.sum())


def by_polars(path, demands):
    def one(d):
        lower, upper, factor = drawn_in(d)
        value, u = pl.col(d.column), pl.col(f"u({d.column})")
        sides = [value >= lower + factor * u] if lower is not None else []
        sides += [value <= upper - factor * u] if upper is not None else []
        return reduce(lambda a, b: a & b, sides).fill_null(value=False)     # null would be neither
    passed = reduce(lambda a, b: a & b, map(one, demands), ~pl.col("trouble") & ~pl.col("refused"))
    return pl.scan_parquet(path).select(passed.sum()).collect().item()


def by_duckdb(path, demands):
    def one(d):
        lower, upper, factor = drawn_in(d)
        value, u = f'"{d.column}"', f'"u({d.column})"'
        sides = [f"{value} >= {lower!r}::DOUBLE + {factor!r}::DOUBLE * {u}"] if lower is not None else []
        sides += [f"{value} <= {upper!r}::DOUBLE - {factor!r}::DOUBLE * {u}"] if upper is not None else []
        return " AND ".join(sides)      # null in a condition does not count
    where = " AND ".join(["NOT trouble", "NOT refused", *map(one, demands)])
    with duckdb.connect() as connection:
        return connection.execute(f"SELECT count(*) FROM read_parquet('{path}') WHERE {where}").fetchone()[0]


ENGINES = {"pandas": by_pandas, "Polars": by_polars, "DuckDB": by_duckdb}
