"""How measurements, judged rows and plots are written into the record."""

from math import isfinite
from typing import Any

from station.analysis.result import WavePlot
from station.judgement.judge import JudgedRow
from station.measurement import BudgetRow, Measurement, Refusal


def written(m: Measurement, label: str) -> dict[str, Any]:
    """Return `m` of the capture `label` ("" for none) as the record holds it."""
    return {"name": m.name, "label": label, "value": finite(m.value), "u": finite(m.u), "dof": finite(m.dof),
            "unit": m.unit, "budget": [_budget_row(row) for row in m.budget]}


def written_row(row: JudgedRow) -> dict[str, Any]:
    """Return a judged row as the record holds it."""
    return {"key": row.key, "name": row.name, "label": row.label, "unit": row.unit, "value": finite(row.value),
            "u": finite(row.u), "dof": finite(row.dof), "lower": row.lower, "upper": row.upper,
            "acceptance_lower": finite(row.acceptance_lower), "acceptance_upper": finite(row.acceptance_upper),
            "result": str(row.result), "zone": row.zone, "margin": finite(row.margin)}


def written_refusal(refused: Refusal | None) -> dict[str, str] | None:
    """Return why a capture gives no numbers as the record holds it; None for a trusted one."""
    return {"code": refused.code, "text": refused.text} if refused else None


def written_plot(label: str, plot: WavePlot) -> dict[str, Any]:
    """Return the waves of the capture `label` as the record holds them: rounded, as they are for the eye."""
    return {"label": label, "angle_deg": [round(a, 3) for a in plot.angle_deg],
            "volts_per_krpm": {line: [round(v, 6) for v in wave] for line, wave in plot.volts_per_krpm.items()},
            "hall_high": {s: [round(r, 3), round(f, 3)] for s, r, f in _intervals(plot)}}


def finite(number: float | None) -> float | None:
    """Return `number`, or None where JSON has no number for it (infinite, not a number, absent)."""
    return number if number is not None and isfinite(number) else None


def _budget_row(row: BudgetRow) -> dict[str, Any]:
    return {"source": row.source, "kind": row.kind, "distribution": row.distribution, "u": finite(row.u),
            "dof": finite(row.dof), "shared": row.shared}


def _intervals(plot: WavePlot) -> list[tuple[str, float, float]]:
    return [(sensor, *interval) for sensor, interval in (plot.hall_high or {}).items() if interval is not None]
