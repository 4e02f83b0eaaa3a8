"""`station certificate`: print the certificate of a stored test."""

from pathlib import Path
from typing import Annotated

import typer

from station.certificate.render import render_certificate
from station.cli.console import errors, results, suspect_words
from station.errors import UsageError
from station.record.store import Store
from station.sequence.station_file import load_station


def certificate(
    serial: Annotated[str, typer.Argument(help="Serial number.")],
    station: Annotated[Path, typer.Option("--station", help="The station file.")] = Path("station.toml"),
    out: Annotated[Path | None, typer.Option(help="Where to write the PDF; SERIAL.pdf if absent.")] = None,
    run: Annotated[int, typer.Option(min=0, help="Which run; 0 is the last.")] = 0,
) -> int:
    """Write the certificate of a stored test as PDF."""
    with Store(load_station(station).store, read_only=True) as store:
        records = [record for record in store.show(serial) if run in (0, record["run"])]
        suspects = store.suspects()
    if not records:
        raise UsageError("no such test", where="records", expected="a stored serial and run",
                         got=f"{serial}, run {run or 'last'}", remedy="Look with `station records find`.")
    path = out or Path(f"{serial}.pdf")
    path.write_bytes(render_certificate(records[-1]))
    doubt = suspect_words(suspects, records[-1])
    if doubt:
        errors.print(doubt, markup=False, highlight=False, soft_wrap=True)
    results.print(f"{path}", markup=False, highlight=False, soft_wrap=True)
    return 0
