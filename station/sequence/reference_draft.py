"""A first reference file from the stored tests of a motor, for a person to look through and sign."""

from collections import Counter
from collections.abc import Mapping
from collections.abc import Sequence as Ordered
from math import sqrt
from statistics import fmean, stdev
from typing import Any

from station.certificate.number_format import expanded
from station.errors import UsageError

FEWEST = 3            # tests; 25 over five days are better (common practice, from memory)
SPREADS = 5.0         # a tolerance is at least so many standard deviations between tests ...
SHARE_OF_U = 0.5      # ... so much of the expanded uncertainty of one test ...
SHARE_OF_ROOM = 0.02  # ... and so much of the room to the nearest limit: less than that turns no verdict
Record = Mapping[str, Any]


def draft_toml(serial: str, records: Ordered[Record], by: str) -> str:
    """Return a reference file, as TOML, made of every judged value that all tests of the motor have.

    Expected value: the mean. `u`: the root of u² of one test, as the bench's own errors do not average out, and
    the variance between tests. A motor whose tests all failed becomes a known-bad one.

    Raises
    ------
    UsageError
        Too few tests with a result, or some passed and some failed.
    """
    tested = [record for record in records if record["verdict"] != "NO RESULT"]
    verdicts = {record["verdict"] for record in tested}
    if len(tested) < FEWEST or len(verdicts) > 1:
        raise UsageError("this does not make a reference motor", where=serial,
                         expected=f"{FEWEST} tests or more, all PASS or all FAIL",
                         got=", ".join(record["verdict"] for record in tested) or "none",
                         remedy="Test it more often, or take another motor.")
    last = tested[-1]
    bad = verdicts == {"FAIL"}
    lines = [f"# Drafted from {len(tested)} tests, {tested[0]['started']} to {last['started']}. Look through every "
             "value before use.", "format = 1", "", "[motor]", f'serial = "{serial}"',
             f'motor_type = "{last["motor_type"]["name"]}"', f'kind = "{"bad" if bad else "good"}"', "", "[origin]",
             f'established_by = "{by}"', f"established_on = {last['started'][:10]}",
             f'note = "mean of {len(tested)} tests at station {last["station"]["id"]}"', ""]
    if bad:
        return "\n".join([*lines, *_failure(serial, tested)]) + "\n"
    return "\n".join([*lines, "# In the unit of each: expected value, its standard uncertainty, and how far a check "
                      "may be off.", "[expected]", *_expected(tested)]) + "\n"


def _expected(records: Ordered[Record]) -> list[str]:
    rows = [{(row["name"], row["label"]): row for row in record["judged"]} for record in records]
    return [_line(key, [of[key] for of in rows]) for key in rows[0]
            if all(key in of and of[key]["value"] is not None and expanded(of[key]["u"], of[key]["dof"]) is not None
                   for of in rows)]


def _line(key: tuple[str, str], rows: Ordered[Record]) -> str:
    values = [row["value"] for row in rows]
    spread, claimed = stdev(values), max(expanded(row["u"], row["dof"]) or 0.0 for row in rows)
    u = sqrt(fmean(row["u"] ** 2 for row in rows) + spread ** 2)
    tolerance = max(SPREADS * spread, SHARE_OF_U * claimed, SHARE_OF_ROOM * _room(fmean(values), rows[-1]))
    name = f"{key[0]}@{key[1]}" if key[1] else key[0]
    return (f'"{name}" = {{ unit = "{rows[0]["unit"]}", value = {float(f"{fmean(values):.7g}")!r}, '
            f"u = {float(f'{u:.2g}')!r}, tolerance = {float(f'{tolerance:.2g}')!r} }}")


def _room(value: float, row: Record) -> float:
    """Return the distance from `value` to the nearest tolerance limit, 0 without one."""
    return min((abs(limit - value) for limit in (row["lower"], row["upper"]) if limit is not None), default=0.0)


def _failure(serial: str, records: Ordered[Record]) -> list[str]:
    failed = Counter(name for record in records
                     for name in {row["name"] for row in record["judged"] if row["result"] == "FAIL"})
    codes = Counter(code for record in records for code in {finding["code"] for finding in record["findings"]})
    always = sorted(name for name, count in failed.items() if count == len(records))
    causes = [code for code, count in codes.most_common() if count == len(records)]
    if not always or not causes:
        raise UsageError("this motor does not fail for the same reason each time", where=serial,
                         expected="a characteristic and a finding in every test", got=f"{always}, {causes}",
                         remedy="Take a motor with a plain fault.")
    first = next(found["code"] for found in records[-1]["findings"] if found["code"] in causes)
    return ["# It must fail for this reason: all of must_fail, nothing beyond may_fail, and this finding.",
            "[failure]", f'finding = "{first}"', f"must_fail = {_list(always)}",
            f"may_fail = {_list(sorted(failed.keys() - set(always)))}"]


def _list(names: Ordered[str]) -> str:
    return "[" + ", ".join(f'"{name}"' for name in names) + "]"
