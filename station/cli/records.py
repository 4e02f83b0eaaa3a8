"""`station records`: find tests and show them."""

import json
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.table import Table

from station.certificate.number_format import coverage_factor, expanded
from station.cli import upkeep
from station.cli.console import correction_words, errors, results, suspect_words, verdict_words, worst_row
from station.errors import UsageError
from station.record.store import Store
from station.sequence.station_file import load_station
from station.units import printed

app = typer.Typer(no_args_is_help=True, help="Find, show, correct and export stored tests.", rich_markup_mode=None)

StationFile = Annotated[Path, typer.Option("--station", help="The station file.")]
Serial = Annotated[str, typer.Argument(help="Serial number.")]
Run = Annotated[int, typer.Option(min=0, help="Which run; 0 is the last.")]
Record = dict[str, Any]


@app.command("find")
def find(
    station: StationFile = Path("station.toml"),
    serial: Annotated[str, typer.Option(help="Serial number; * and ? stand for any characters.")] = "*",
    verdict: Annotated[str, typer.Option(help="PASS, FAIL or NO RESULT.")] = "",
    motor_type: Annotated[str, typer.Option("--type", help="Motor type.")] = "",
) -> int:
    """List stored tests, the newest last."""
    table = Table("serial", "run", "type", "started", "verdict", "worst characteristic")
    with Store(load_station(station).store, read_only=True) as store:
        marks = {(suspect.serial, suspect.run): " SUSPECT" for suspect in store.suspects()}
        marks |= {(said["of"]["serial"], said["of"]["run"]): " VOID" for said in store.statements("correction")
                  if said["what"] == "void"}
        for record in store.find(serial=serial, verdict=verdict or None, motor_type=motor_type or None):
            table.add_row(record["serial"], str(record["run"]), record["motor_type"]["name"], record["started"],
                          verdict_words(record["verdict"]) + marks.get((record["serial"], record["run"]), ""),
                          worst_row(record))
    results.print(table)
    results.print(f"{table.row_count} test(s)", highlight=False)
    return 0


@app.command("show")
def show(
    serial: Serial,
    station: StationFile = Path("station.toml"),
    run: Run = 0,
    as_json: Annotated[bool, typer.Option("--json", help="Print the record as stored.")] = False,
) -> int:
    """Show one test: verdict, findings and every judged value."""
    record = _stored(station, serial, run)
    with Store(load_station(station).store, read_only=True) as store:
        beside = [suspect_words(store.suspects(), record), *correction_words(store.statements("correction"), record)]
    if as_json:
        for words in filter(None, beside):
            errors.print(words, markup=False, highlight=False, soft_wrap=True)
        results.print(json.dumps(record), markup=False, highlight=False, soft_wrap=True)
        return 0
    _say(f"{verdict_words(record['verdict'])}  {serial} run {record['run']}: {record['reason']}")
    for words in filter(None, beside):
        _say(words)
    if record.get("further_run"):
        _say(f"further run, allowed by {record['further_run']['person']}: {record['further_run']['reason']}")
    for finding in record["findings"]:
        _say(f"finding: {finding['text']}")
    table = Table("characteristic", "capture", "value", "u", "unit", "limits", "result")
    for row in record["judged"]:
        value, u = ("-" if row[key] is None else f"{row[key]:.5g}" for key in ("value", "u"))
        table.add_row(row["name"], row["label"], value, u, printed(row["unit"]),
                      f"{row['lower']} … {row['upper']}", row["result"])
    results.print(table)
    return 0


app.command("correct")(upkeep.correct)
app.command("export")(upkeep.export)
app.command("retain")(upkeep.retain)
app.command("check")(upkeep.check)


@app.command("suspects")
def suspects(station: StationFile = Path("station.toml")) -> int:
    """List the tests that a failed reference check casts doubt on: test these motors again."""
    table = Table("serial", "run", "type", "started", "verdict", "failed reference check")
    with Store(load_station(station).store, read_only=True) as store:
        for suspect in store.suspects():
            table.add_row(suspect.serial, str(suspect.run), suspect.motor_type, suspect.started,
                          verdict_words(suspect.verdict), str(suspect.check))
    results.print(table)
    results.print(f"{table.row_count} test(s)", highlight=False)
    return 0


@app.command("budget")
def budget(
    serial: Serial,
    characteristic: Annotated[str, typer.Argument(help="Full name, such as hall_placement.b.")],
    station: StationFile = Path("station.toml"),
    run: Run = 0,
    capture: Annotated[str, typer.Option(help='One capture, such as "forward 1500"; all if left out.')] = "",
) -> int:
    """Show the uncertainty budget of one characteristic: every source, and what they come to together."""
    record = _stored(station, serial, run)
    for measured in _measured(record, characteristic, capture):
        at = f" @ {measured['label']}" if measured["label"] else ""
        _say(f"{serial} run {record['run']}  {characteristic}{at}: "
             f"{_number(measured['value'])} {printed(measured['unit'])}".rstrip())
        results.print(_rows(measured))
        _say(_together(measured) + "\n")
    return 0


@app.command("transcript")
def transcript(
    serial: Serial,
    station: StationFile = Path("station.toml"),
    run: Run = 0,
    role: Annotated[str, typer.Option(help="One role, such as drive; all if left out.")] = "",
) -> int:
    """Print what was said to (>) and by (<) the instruments in one run; blocks by length and SHA-256."""
    record = _stored(station, serial, run)
    with Store(load_station(station).store, read_only=True) as store:
        lines = store.transcript(record)
    if lines is None:
        raise UsageError("this run has no transcript", where=f"{serial} run {record['run']}",
                         expected="a run that came to its end", got="an interrupted one",
                         remedy="Look at another run.")
    for entry in map(json.loads, lines.splitlines()):
        if role in ("", entry.get("role")):
            _say(_spoken(entry))
    return 0


def _spoken(entry: Record) -> str:
    """Return one exchange as a line."""
    if "left_out" in entry:
        return f"... {entry['left_out']} exchanges left out ..."
    sign = {"to": ">", "from": "<", "note": "#"}[entry["direction"]]
    block = f" [{entry['bytes']} bytes, SHA-256 {entry['sha256']}]" if "sha256" in entry else ""
    return f"{entry['utc']} {entry['role']} {sign} {entry.get('text', '')}{block}".rstrip()


def _stored(station: Path, serial: str, run: int) -> Record:
    """Return the record of a run, the last for 0, or raise UsageError."""
    with Store(load_station(station).store, read_only=True) as store:
        records = store.show(serial)
    chosen = [record for record in records if run in (0, record["run"])]
    if not chosen:
        raise UsageError("no such test", where="records", expected="a stored serial and run",
                         got=f"{serial}, run {run or 'last'}", remedy="Look with `station records find`.")
    return chosen[-1]


def _measured(record: Record, characteristic: str, capture: str) -> list[Record]:
    """Return the measurements of a characteristic in the captures asked for, or raise UsageError."""
    named = [m for m in record["measurements"] if m["name"] == characteristic]
    if not named:
        names = sorted({m["name"] for m in record["measurements"]})
        plain = characteristic.partition(".")[0]
        near = [name for name in names if name.partition(".")[0] == plain]
        raise UsageError("this test has no such characteristic", where=f"{record['serial']} run {record['run']}",
                         expected="one of " + ", ".join(near or names), got=characteristic,
                         remedy="Spell the full name as in that list.")
    chosen = [m for m in named if capture in ("", m["label"])]
    if not chosen:
        labels = ", ".join(m["label"] or "none: it belongs to no capture" for m in named)
        raise UsageError("the characteristic has no such capture", where=f"{record['serial']} {characteristic}",
                         expected=labels, got=capture, remedy="Leave --capture out, or name one of these.")
    return chosen


def _rows(measured: Record) -> Table:
    """Return the rows of a budget, the largest first; dof ∞ stands for a limit taken as certain."""
    table = Table("source", "kind", "distribution", f"u / {printed(measured['unit']) or '1'}", "dof",
                  "share of variance", "shared with")
    total = sum(row["u"] ** 2 for row in measured["budget"])
    for row in sorted(measured["budget"], key=lambda r: -r["u"]):
        table.add_row(row["source"], row["kind"], row["distribution"], _number(row["u"]), _dof(row["dof"]),
                      f"{100 * row['u'] ** 2 / total:.1f} %" if total else "-", row["shared"])
    return table


def _together(measured: Record) -> str:
    """Return combined u, effective degrees of freedom, k at 95.45 % from their whole part, and U = k u."""
    u, dof, unit = measured["u"], measured["dof"], printed(measured["unit"])
    return " ".join(f"u {_number(u)} {unit}, effective degrees of freedom {_dof(dof)}, "
                    f"k {_number(coverage_factor(dof), 3)} (95.45 %), U {_number(expanded(u, dof), 2)} {unit}".split())


def _number(value: float | None, digits: int = 4) -> str:
    return "-" if value is None else f"{value:.{digits}g}"


def _dof(dof: float | None) -> str:
    return "∞" if dof is None else f"{dof:.1f}".removesuffix(".0")


def _say(text: str) -> None:
    results.print(text, markup=False, highlight=False, soft_wrap=True)
