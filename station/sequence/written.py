"""How a measurement is written into the record."""

from math import isfinite
from typing import Any

from station.measurement import BudgetRow, Measurement


def written(m: Measurement, label: str) -> dict[str, Any]:
    """Return `m` of the capture `label` ("" for none) as the record holds it."""
    return {"name": m.name, "label": label, "value": finite(m.value), "u": finite(m.u), "dof": finite(m.dof),
            "unit": m.unit, "budget": [_budget_row(row) for row in m.budget]}


def _budget_row(row: BudgetRow) -> dict[str, Any]:
    return {"source": row.source, "kind": row.kind, "distribution": row.distribution, "u": finite(row.u),
            "dof": finite(row.dof), "shared": row.shared}


def finite(number: float | None) -> float | None:
    """Return `number`, or None where JSON has no number for it (infinite, not a number, absent)."""
    return number if number is not None and isfinite(number) else None
