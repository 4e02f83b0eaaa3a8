"""How the values of the reference motors moved from check to check: the numbers of a drift chart."""

from collections.abc import Mapping
from collections.abc import Sequence as Ordered
from typing import Any


def drift(checks: Ordered[Mapping[str, Any]], serial: str | None = None, name: str | None = None
          ) -> list[dict[str, Any]]:
    """Return one series for each reference motor, characteristic and capture, its points oldest first.

    `checks` are oldest first, as the store returns them; `serial` and `name` choose. A point has started, check,
    value, u, expected, tolerance, normalised_error, result, bench_sha256 and done (what was mended before it); an
    absent value is None, so that the gap is seen.
    """
    series: dict[tuple[str, str, str], dict[str, Any]] = {}
    for check in checks:
        for motor in check["motors"]:
            for row in motor["compared"]:
                if serial in (None, motor["serial"]) and name in (None, row["name"]):
                    key = (motor["serial"], row["name"], row["label"])
                    line = series.setdefault(key, {"serial": key[0], "motor_type": check["motor_type"],
                                                   "name": key[1], "label": key[2], "unit": row["unit"], "points": []})
                    line["points"].append(_point(check, motor, row))
    return list(series.values())


def _point(check: Mapping[str, Any], motor: Mapping[str, Any], row: Mapping[str, Any]) -> dict[str, Any]:
    return {"started": motor["started"], "check": check["check"], "bench_sha256": check["bench_sha256"],
            "done": check["done"],
            **{key: row[key] for key in ("value", "u", "expected", "expected_u", "tolerance", "normalised_error",
                                         "result")}}
