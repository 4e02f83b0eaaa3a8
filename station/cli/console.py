"""What the commands print with: one console for results, one for errors, and the words for verdicts."""

import sys
from collections.abc import Iterable
from typing import Any, TextIO

from rich.console import Console

from station.exit_code import ExitCode
from station.record.correction import corrections_of
from station.record.reference_check import Suspect
from station.record.statement import Statement
from station.sequence.progress import Notice
from station.units import printed

PIPED_WIDTH = 200    # columns of what goes into a file or another program: no cell of a table may be lost


def _width(stream: TextIO) -> int | None:
    return None if stream.isatty() else PIPED_WIDTH


results = Console(width=_width(sys.stdout))
errors = Console(stderr=True, width=_width(sys.stderr))

SIGNS = {"PASS": "✓", "FAIL": "✗", "NO RESULT": "–"}
CODES = {"PASS": ExitCode.PASS, "FAIL": ExitCode.FAIL, "NO RESULT": ExitCode.NO_RESULT}
_MARKS = {"step": "·", "wait": "▶", "motor": "○", "speed": "↻", "rest": "↓", "value": " ", "note": "!"}


def show_notice(notice: Notice) -> None:
    """Print one line of progress."""
    results.print(f"  {_MARKS[notice.kind]} {notice.text}", markup=False, highlight=False)


def verdict_words(verdict: str) -> str:
    """Return the verdict as word and sign, so that it never rests on colour."""
    return f"{SIGNS[verdict]} {verdict}"


def suspect_words(suspects: Iterable[Suspect], record: dict[str, Any]) -> str:
    """Return the sentence for a test that a failed reference check casts doubt on, else an empty text."""
    number = next((s.check for s in suspects if (s.serial, s.run) == (record["serial"], record["run"])), None)
    return "" if number is None else (f"SUSPECT: reference check {number} failed, and no good one lies between. "
                                      "Test the motor again.")


def correction_words(corrections: Iterable[Statement], record: dict[str, Any]) -> list[str]:
    """Return a sentence for each correction of a test, oldest first; a void test counts as none."""
    words = {"void": "VOID, counts as no test", "note": "note"}
    return [f"{words[said['what']]}: {said['reason']} ({said['person']}, {said['at']})"
            for said in corrections_of(record, corrections)]


def worst_code(verdicts: list[str]) -> ExitCode:
    """Return the exit code for several motors: a FAIL weighs more than a NO RESULT, that more than a PASS."""
    for verdict in ("FAIL", "NO RESULT"):
        if verdict in verdicts:
            return CODES[verdict]
    return ExitCode.PASS


def worst_row(record: dict[str, Any]) -> str:
    """Return the judged value nearest to, or furthest beyond, its acceptance limit, in words."""
    rows = [row for row in record["judged"] if row["margin"] is not None]
    if not rows:
        return "nothing judged"
    row = min(rows, key=lambda r: (r["result"] != "FAIL", _room(r)))
    at = f" @ {row['label']}" if row["label"] else ""
    return f"{row['name']}{at} {row['value']:.4g} {printed(row['unit'])}".rstrip() + f" [{_limits(row)}]"


def _room(row: dict[str, Any]) -> float:
    """Return the room to the nearest tolerance limit as a share of half the tolerance, or of a lone limit."""
    value, lower, upper = row["value"], row["lower"], row["upper"]
    if lower is not None and upper is not None:
        scale = (upper - lower) / 2 or 1.0
        return float(min(value - lower, upper - value) / scale)
    limit = upper if lower is None else lower
    return float((limit - value if lower is None else value - limit) / (abs(limit) or 1.0))


def _limits(row: dict[str, Any]) -> str:
    lower = "" if row["lower"] is None else f"{row['lower']:g}"
    upper = "" if row["upper"] is None else f"{row['upper']:g}"
    return f"{lower}…{upper}"
