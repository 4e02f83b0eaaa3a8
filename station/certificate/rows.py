"""Sorts the record's measurements into printed rows: one per characteristic, a cell per capture."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from math import isfinite
from typing import Any

from station.certificate import number_format as numbers
from station.errors import EvidenceError
from station.units import names, printed

_RANK = {"FAIL": 0, "NO RESULT": 1, "PASS": 2}
ABSENT = "—"


@dataclass(frozen=True, slots=True)
class Cell:
    """What one capture says of one characteristic, as texts; `result` is empty if not judged."""

    number: str
    uncertainty: str         # two digits, "?" if unknown, empty where there is no value
    expanded: float | None   # the same uncertainty unrounded, to find the largest of several
    acceptance: str
    result: str

    @property
    def value(self) -> str:
        """The value with its expanded uncertainty."""
        return f"{self.number} ± {self.uncertainty}" if self.uncertainty else self.number


@dataclass(slots=True)
class Row:
    """One characteristic with its unit and tolerance; `cells` by capture label ("" = no capture)."""

    name: str
    unit: str
    tolerance: str
    cells: dict[str, Cell] = field(default_factory=dict)

    @property
    def rank(self) -> int:
        """0 if any cell fails, 1 if any has no result, 2 otherwise: the order of printing."""
        return min(_RANK.get(cell.result, 1) for cell in self.cells.values())

    def acceptance(self, labels: Iterable[str]) -> str | None:
        """Return the acceptance limits on which the cells of `labels` agree as printed, or None."""
        texts = {self.cells[label].acceptance for label in labels if label in self.cells}
        return texts.pop() if len(texts) == 1 else None


def judged_rows(record: Mapping[str, Any]) -> list[Row]:
    """Return the judged rows, those with a FAIL first, else in the record's order."""
    dofs = {(m["name"], m["label"]): m.get("dof") for m in record.get("measurements") or ()}
    rows: dict[tuple[object, ...], Row] = {}
    for judged in record.get("judged") or ():
        name, label = str(judged["name"]), str(judged.get("label") or "")
        key: tuple[object, ...] = (name, judged["unit"], judged.get("lower"), judged.get("upper"))
        if key in rows and label in rows[key].cells:
            key = (*key, judged.get("key"), label)  # two limits on one capture stay two rows
        tolerance = _range(*(_limit(judged.get(end)) for end in ("lower", "upper")))
        row = rows.setdefault(key, Row(name, unit_text(judged["unit"]), tolerance))
        row.cells[label] = _judged_cell(judged, dofs.get((name, label)))
    return sorted(rows.values(), key=lambda row: row.rank)  # sorted() keeps the order of equals


def other_rows(record: Mapping[str, Any]) -> list[Row]:
    """Return the measurements on which no limit was set."""
    judged = {(j["name"], j.get("label") or "") for j in record.get("judged") or ()}
    rows: dict[tuple[str, str], Row] = {}
    for measured in record.get("measurements") or ():
        name, label = str(measured["name"]), str(measured.get("label") or "")
        if (name, label) in judged:
            continue
        row = rows.setdefault((name, measured["unit"]), Row(name, unit_text(measured["unit"]), ""))
        row.cells[label] = _cell(measured)
    return list(rows.values())


def refuse_contradiction(record: Mapping[str, Any]) -> None:
    """Refuse to print PASS over rows that do not bear it out.

    Raises
    ------
    EvidenceError
        The verdict is PASS and there is no judged row, a row that is not PASS, or a row without
        a finite value within its acceptance limits.
    """
    rows = list(record.get("judged") or ())
    wrong = [f"{row['name']} {row.get('label') or ''}".strip() for row in rows
             if row.get("result") == "PASS" and not _bears_out(row)]
    if record.get("verdict") == "PASS":
        wrong += [f"{row['name']} is {row.get('result')}" for row in rows if row.get("result") != "PASS"]
        wrong += [] if rows else ["no judged row at all"]
    if wrong:
        raise EvidenceError("the record's verdict and its rows contradict each other",
                            where=f"certificate of {record.get('serial')}", expected="every PASS borne out",
                            got=", ".join(wrong[:5]), remedy="Judge the record again; do not ship the motor.")


def unit_text(unit: str) -> str:
    """Return a unit as printed, "1" for counts; an unknown one stands as the record has it."""
    return (printed(unit) if unit in names() else unit) or unit


def _bears_out(row: Mapping[str, Any]) -> bool:
    value = row.get("value")
    if value is None or not isfinite(value):
        return False
    lower = [x for x in (row.get("lower"), row.get("acceptance_lower")) if x is not None]
    upper = [x for x in (row.get("upper"), row.get("acceptance_upper")) if x is not None]
    return bool(lower or upper) and all(value >= x for x in lower) and all(value <= x for x in upper)


def _judged_cell(judged: Mapping[str, Any], dof: float | None) -> Cell:
    result = str(judged.get("result") or "NO RESULT")
    accepted = (judged.get("acceptance_lower"), judged.get("acceptance_upper"))
    value = judged.get("value")
    if value is None or not isfinite(value):
        return Cell("no value", "", None, str(judged.get("zone") or _range(*map(_limit, accepted))), result)
    expanded = numbers.expanded(judged.get("u"), dof)
    shown = numbers.number(value, expanded, (judged.get("lower"), judged.get("upper")), accepted)
    accept = _range(shown.acceptance_lower, shown.acceptance_upper)
    if accepted == (None, None) and judged.get("zone"):
        accept = str(judged["zone"])  # nothing could be accepted: the zone says why
    return Cell(shown.value, shown.uncertainty or "?", expanded, accept, result)


def _cell(measured: Mapping[str, Any]) -> Cell:
    value = measured.get("value")
    if value is None or not isfinite(value):
        return Cell("no value", "", None, "", "")
    expanded = numbers.expanded(measured.get("u"), measured.get("dof"))
    number, uncertainty = numbers.pair(value, expanded)
    return Cell(number, uncertainty or "?", expanded, "", "")


def _limit(value: float | None) -> str:
    return "" if value is None else numbers.plain(value)


def _range(lower: str, upper: str) -> str:
    if lower and lower == upper:
        return f"= {lower}"
    if lower and upper:
        return f"{lower} … {upper}"
    return f"≥ {lower}" if lower else f"≤ {upper}" if upper else ABSENT


def labels_of(rows: Iterable[Row], order: Iterable[str]) -> list[str]:
    """Return the capture labels that occur in `rows`: those of `order` first, "" left out."""
    found = dict.fromkeys(label for row in rows for label in row.cells if label)
    first = [label for label in dict.fromkeys(order) if label in found]
    return first + [label for label in found if label not in first]
