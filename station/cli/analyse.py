"""`station analyse`: measurements from capture files, without instruments."""

import json
from collections.abc import Sequence
from math import isfinite
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.table import Table

from station.analysis.result import CaptureAnalysis
from station.analysis.stitch import analyse_captures, parts_together
from station.cli.console import results
from station.exit_code import ExitCode
from station.judgement.limit_file import parse_limits
from station.record.capture_file import read_capture
from station.toml_file import read_toml
from station.units import printed


def analyse(
    captures: Annotated[list[Path], typer.Argument(help="Capture files (Parquet).")],
    limits: Annotated[Path, typer.Option(help="Limit file of the motor type, for its conventions.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object a capture, a line each.")] = False,
) -> int:
    """Analyse captures; every file is read before anything is printed. Parts of one test are stitched."""
    motor_type = parse_limits(read_toml(limits)).motor_type
    loaded = [read_capture(path) for path in captures]
    refused = False
    for places in parts_together(loaded):
        paths, analysis = [captures[i] for i in places], analyse_captures([loaded[i] for i in places], motor_type)
        refused = refused or analysis.refused is not None
        if as_json:
            results.print(json.dumps(as_object(paths, analysis)), markup=False, highlight=False, soft_wrap=True)
        else:
            _show(paths, analysis)
    return int(ExitCode.NO_RESULT if refused else ExitCode.PASS)


def as_object(paths: Sequence[Path], analysis: CaptureAnalysis) -> dict[str, Any]:
    """Return what `--json` prints for one capture; infinite degrees of freedom are null.

    A stitched one names all its files in `files`, its first in `file`.
    """
    refused = analysis.refused
    return {
        "file": str(paths[0]),
        **({"files": [str(path) for path in paths]} if len(paths) > 1 else {}),
        "measurements": {
            name: {"value": m.value, "unit": m.unit, "u": m.u, "dof": m.dof if isfinite(m.dof) else None}
            for name, m in analysis.measurements.items()},
        "findings": [{"code": finding.code, "text": finding.text} for finding in analysis.findings],
        "refused": {"code": refused.code, "text": refused.text} if refused else None,
    }


def _show(paths: Sequence[Path], analysis: CaptureAnalysis) -> None:
    title = "\n".join(map(str, paths)) + (f"\nstitched, {len(paths)} captures" if len(paths) > 1 else "")
    table = Table("characteristic", "value", "unit", "standard uncertainty", title=title)
    for name, m in analysis.measurements.items():
        table.add_row(name, f"{m.value:.6g}", printed(m.unit), f"{m.u:.2g}")
    results.print(table)
    if analysis.refused:
        results.print(f"refused: {analysis.refused.text}", markup=False)
    for finding in analysis.findings:
        results.print(f"finding: {finding.text}", markup=False)
