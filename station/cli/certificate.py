"""`station certificate`: print the certificate of a stored test."""

from pathlib import Path
from typing import Annotated, Any

import typer

from station.certificate.issue import certificate_path, issue_certificate
from station.certificate.signing import Signer
from station.cli.console import correction_words, errors, results, suspect_words
from station.clock import Clock, system_clock
from station.errors import UsageError
from station.record.capture_file import write_durably
from station.record.correction import is_void
from station.record.store import Store
from station.sequence.station_file import Station, load_station


def certificate(
    serial: Annotated[str, typer.Argument(help="Serial number; none with --missing.")] = "",
    station: Annotated[Path, typer.Option("--station", help="The station file.")] = Path("station.toml"),
    out: Annotated[Path | None, typer.Option(help="Where to write the PDF; SERIAL.pdf if absent.")] = None,
    run: Annotated[int, typer.Option(min=0, help="Which run; 0 is the last that is not void.")] = 0,
    missing: Annotated[bool, typer.Option("--missing", help="Issue every certificate that the store lacks.")] = False,
) -> int:
    """Write the certificate of a stored test as PDF: the one that is kept, or a new one where none is."""
    here = load_station(station)
    if missing:
        return _issue_missing(here)
    with Store(here.store, read_only=True) as store:
        records = [record for record in store.show(serial) if run in (0, record["run"])]
        suspects, corrections = store.suspects(), store.statements("correction")
        records = [record for record in records if not is_void(record, corrections)] or records
        if not records:
            raise UsageError("no such test", where="records", expected="a stored serial and run",
                             got=f"{serial}, run {run or 'last'}", remedy="Look with `station records find`.")
        kept = issue(here, store, records[-1], system_clock())
    path = out or Path(f"{serial}.pdf")
    write_durably(path, kept.read_bytes())
    for words in filter(None, [suspect_words(suspects, records[-1]), *correction_words(corrections, records[-1])]):
        errors.print(words, markup=False, highlight=False, soft_wrap=True)
    results.print(f"{path}", markup=False, highlight=False, soft_wrap=True)
    return 0


def _issue_missing(station: Station) -> int:
    with Store(station.store, read_only=True) as store:
        lacking = [record for record in store.find() if not certificate_path(station.store, record).exists()]
        for record in lacking:
            path = issue(station, store, record, system_clock())
            results.print(f"{path}", markup=False, highlight=False, soft_wrap=True)
    results.print(f"{len(lacking)} certificate(s) issued", highlight=False)
    return 0


def issue(station: Station, store: Store, record: dict[str, Any], clock: Clock) -> Path:
    """Issue the certificate of a stored record, signed where the station file names keys; see `issue_certificate`.

    The key is read each time, so that a new one is in force without a restart.
    """
    signer = Signer.load(station.keys, clock) if station.keys else None
    return issue_certificate(store, record, signer)
