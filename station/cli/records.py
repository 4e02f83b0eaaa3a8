"""`station records`: find tests and show them."""

import json
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from station.cli.console import results, verdict_words, worst_row
from station.errors import UsageError
from station.record.store import Store
from station.sequence.station_file import load_station
from station.units import printed

app = typer.Typer(no_args_is_help=True, help="Find and show stored tests.", rich_markup_mode=None)

StationFile = Annotated[Path, typer.Option("--station", help="The station file.")]


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
        for record in store.find(serial=serial, verdict=verdict or None, motor_type=motor_type or None):
            table.add_row(record["serial"], str(record["run"]), record["motor_type"]["name"], record["started"],
                          verdict_words(record["verdict"]), worst_row(record))
    results.print(table)
    results.print(f"{table.row_count} test(s)", highlight=False)
    return 0


@app.command("show")
def show(
    serial: Annotated[str, typer.Argument(help="Serial number.")],
    station: StationFile = Path("station.toml"),
    run: Annotated[int, typer.Option(min=0, help="Which run; 0 is the last.")] = 0,
    as_json: Annotated[bool, typer.Option("--json", help="Print the record as stored.")] = False,
) -> int:
    """Show one test: verdict, findings and every judged value."""
    with Store(load_station(station).store, read_only=True) as store:
        records = store.show(serial)
    chosen = [record for record in records if run in (0, record["run"])]
    if not chosen:
        raise UsageError("no such test", where="records", expected="a stored serial and run",
                         got=f"{serial}, run {run or 'last'}", remedy="Look with `station records find`.")
    record = chosen[-1]
    if as_json:
        results.print(json.dumps(record), markup=False, highlight=False, soft_wrap=True)
        return 0
    results.print(f"{verdict_words(record['verdict'])}  {serial} run {record['run']}: {record['reason']}",
                  markup=False, highlight=False, soft_wrap=True)
    for finding in record["findings"]:
        results.print(f"finding: {finding['text']}", markup=False, highlight=False, soft_wrap=True)
    table = Table("characteristic", "capture", "value", "u", "unit", "limits", "result")
    for row in record["judged"]:
        value, u = ("-" if row[key] is None else f"{row[key]:.5g}" for key in ("value", "u"))
        table.add_row(row["name"], row["label"], value, u, printed(row["unit"]),
                      f"{row['lower']} … {row['upper']}", row["result"])
    results.print(table)
    return 0
