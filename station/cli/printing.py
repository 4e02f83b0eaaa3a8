"""`station print`: the printer of the certificates, and the queue that `station test` fills."""

import hashlib
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.table import Table

from station.certificate.ipp_client import PDF, IppPrinter, Wishes
from station.certificate.ipp_words import PRINTER_STATES, reason_words
from station.certificate.print_thread import PrintThread
from station.certificate.print_worker import PrintWorker
from station.certificate.printer_address import parse_printer_uri
from station.cli.certificate import issue
from station.cli.console import errors, results
from station.clock import Clock, stamp, system_clock
from station.errors import StationError, UsageError
from station.exit_code import ExitCode
from station.record.print_queue import DATABASE, Printout, PrintQueue, PrintState
from station.record.store import Store
from station.sequence.station_file import Printer, Station, load_station


def print_certificates(
    station: Annotated[Path, typer.Option("--station", help="The station file.")] = Path("station.toml"),
    show: Annotated[bool, typer.Option("--list", help="Show every printout and what became of it.")] = False,
    check: Annotated[bool, typer.Option("--check", help="Ask the printer what it is and whether it is fit.")] = False,
    again: Annotated[str, typer.Option(help="A serial number: print the certificate of its last run again.")] = "",
    run: Annotated[int, typer.Option(min=0, help="With --again: which run; 0 is the last.")] = 0,
    operator: Annotated[str, typer.Option(help="With --again: who asks; goes into the queue.")] = "operator",
    seconds: Annotated[float, typer.Option(min=1, max=3600, help="How long to go on at most.")] = 60.0,
) -> int:
    """Print the certificates that wait, and follow them until the printer says that they are printed."""
    here, clock = load_station(station), system_clock()
    if not here.store.is_dir():
        raise UsageError("no store here", where=str(here.store), expected="the store of a station", got="none",
                         remedy="Test a motor first.")
    if show:
        return _show(here)
    if check:
        return _check(here, open_printer(here, clock))
    open_printer(here, clock)       # before anything is queued
    if again:
        _queue_again(here, again, run, operator, clock)
    try:
        return _work(here, clock, seconds)
    except UsageError as worked_elsewhere:
        if not again:
            raise
        _say(f"It is in the queue. {worked_elsewhere.remedy}")
        return 0


def printing(station: Station, clock: Clock) -> AbstractContextManager[object]:
    """Print in a thread while motors are tested, if the station file names a printer."""
    if station.printer is None:
        return nullcontext()
    open_printer(station, clock)    # tells a faulty file before anything moves
    return PrintThread(station.store, _worker_of(station, clock, _tell), clock, _tell)


def hand_over(station: Station, record: dict[str, Any], certificate: Path | None, by: str, clock: Clock) -> None:
    """Queue a kept certificate, durably. What goes wrong is told and takes nothing from verdict and record."""
    if station.printer is None or certificate is None:
        return
    try:
        _put_in(station, record, certificate, by, clock)
    except StationError as error:
        _tell(f"{record['serial']} is not in the print queue. {error} The result is stored and stands. Later: "
              f"station print --again {record['serial']} --run {record['run']}")


def open_printer(station: Station, clock: Clock) -> IppPrinter:
    """Return the printer that the station file names, without speaking to it; UsageError when it names none."""
    named = _printer_of(station)
    trust = station.folder / named.trust if named.trust else None
    if trust is not None and not trust.is_file():
        raise UsageError("certificate of the printer is not there", where=f"{station.file}: printer.trust",
                         expected="a PEM file", got=f"no file {trust}", remedy="Put it there, or leave the key out.")
    return IppPrinter(parse_printer_uri(named.uri), clock, station.id, trust=trust)


def _printer_of(station: Station) -> Printer:
    if station.printer is None:
        raise UsageError("no printer", where=str(station.file), expected="a table [printer] with its uri", got="none",
                         remedy='Add `[printer]` and `uri = "ipp://ADDRESS/ipp/print"`.')
    return station.printer


def _worker_of(station: Station, clock: Clock, tell: Callable[[str], None]) -> Callable[[PrintQueue], PrintWorker]:
    named = _printer_of(station)
    wishes = Wishes(named.media, named.sides, named.copies)
    return lambda queue: PrintWorker(queue, open_printer(station, clock), clock, station.id, wishes, tell)


def _queue_again(station: Station, serial: str, run: int, by: str, clock: Clock) -> None:
    """Queue the same bytes as last time; a certificate that never was in the queue as it is kept, or issued now."""
    with PrintQueue(station.store) as queue:
        before = [one for one in queue.all() if one.serial == serial and run in (0, one.run)]
    with Store(station.store, read_only=True) as store:
        records = [record for record in store.show(serial) if run in (0, record["run"])]
        if not records:
            raise UsageError("no such test", where="records", expected="a stored serial and run",
                             got=f"{serial}, run {run or 'last'}", remedy="Look with `station records find`.")
        same = [one for one in before if one.run == records[-1]["run"]]
        if not same:
            _put_in(station, records[-1], issue(station, store, records[-1], clock), by, clock)
            return
    with PrintQueue(station.store) as queue:
        queue.add(serial, same[-1].run, same[-1].file, same[-1].sha256, queued=stamp(clock.utc()), by=by)


def _put_in(station: Station, record: dict[str, Any], certificate: Path, by: str, clock: Clock) -> None:
    try:
        digest = hashlib.sha256(certificate.read_bytes()).hexdigest()
    except OSError as error:
        raise StationError("certificate cannot be read", where=str(certificate), expected="leave to read it",
                           got=str(error.strerror or error), remedy="Mend the disk or the rights.") from error
    with PrintQueue(station.store) as queue:
        queue.add(record["serial"], record["run"], str(certificate.relative_to(station.store)), digest,
                  queued=stamp(clock.utc()), by=by)


def _work(station: Station, clock: Clock, seconds: float) -> int:
    until = clock.monotonic() + seconds
    with PrintQueue(station.store) as queue:
        asked = {one.number for one in queue.open()}
        with queue.work():
            worker = _worker_of(station, clock, _tell)(queue)
            while queue.open() and (left := until - clock.monotonic()) > 0:
                clock.pause(min(worker.step(), max(left, 0.0)))
        done = [one for one in queue.all() if one.number in asked]
    for one in done:
        _say(f"{one.state:<16} {one.name}" + (f": {one.note}" if one.note else ""))
    if not done:
        _say("No certificate waits.")
    return int(ExitCode.PASS if all(one.state == PrintState.PRINTED for one in done) else ExitCode.NO_RESULT)


def _show(station: Station) -> int:
    if not (station.store / DATABASE).exists():
        _say("No certificate was ever in the print queue.")
        return 0
    with PrintQueue(station.store) as queue:
        printouts = queue.all()
    table = Table("no", "motor", "run", "reprint", "state", "queued", "by", "sent", "job", "note")
    for one in printouts:
        table.add_row(*_row(one))
    results.print(table)
    left = sum(one.ended is None for one in printouts)
    again = sum(one.reprint > 0 for one in printouts)
    _say(f"{len(printouts)} printout(s), {again} of them reprint(s); {left} left in the queue.")
    return 0


def _row(one: Printout) -> list[str]:
    job = "" if one.job_id is None else str(one.job_id)
    return [str(one.number), one.serial, str(one.run), str(one.reprint or ""), one.state, one.queued, one.queued_by,
            f"{one.sends}x" if one.sends else "", job, one.note]


def _check(station: Station, printer: IppPrinter) -> int:
    report, wishes = printer.report(), _printer_of(station)
    lacks = reason_words(report.reasons)
    faults = [] if PDF in report.formats else [f"takes no PDF, only {', '.join(report.formats)}"]
    faults += [] if report.is_accepting else ["takes no jobs now"]
    faults += [f"does not know {name} = {wanted}; it knows {', '.join(known)}"
               for name, wanted, known in (("media", wishes.media, report.media), ("sides", wishes.sides, report.sides))
               if wanted and wanted not in known]
    _say(f"{report.name} ({report.model}): {PRINTER_STATES.get(report.state, 'in a state of its own')}"
         + (f", {lacks}" if lacks else ""))
    for fault in faults:
        _say(f"! it {fault}")
    return int(ExitCode.NO_RESULT if faults else ExitCode.PASS)


def _say(text: str) -> None:
    results.print(text, markup=False, highlight=False, soft_wrap=True)


def _tell(text: str) -> None:
    errors.print(f"Printer: {text}", markup=False, highlight=False, soft_wrap=True)
