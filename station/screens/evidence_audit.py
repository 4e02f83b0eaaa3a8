"""Audits begun from a page: of one motor's runs or of the whole archive, each computed beside everything else."""

from pathlib import Path

from starlette.responses import JSONResponse, Response

from station.audit.finding import TITLES, Report, Step
from station.audit.store_audit import Scope, audit_store
from station.audit.trusted import load_trusted
from station.clock import stamp
from station.errors import UsageError
from station.screens.access import Duty
from station.screens.apart import apart
from station.screens.ask import Ask, Page
from station.screens.background import Outcome
from station.screens.guarding import to
from station.screens.pages import page
from station.screens.tests_page import record_of

DEPTHS = ("quick", "recompute")     # signatures, log and files only; or every page and number again, too
ARCHIVE = "/evidence/archive"


def _archive(ask: Ask) -> Response:
    return page(ask, "evidence_archive.html", audits=audits_of(ask, ""))


def _audit_archive(ask: Ask) -> Response:
    _start(ask, "")
    return to(ARCHIVE)


def _audit_motor(ask: Ask) -> Response:
    record = record_of(ask)
    _start(ask, record["serial"])
    return to(ask.request.url.path.removesuffix("/audit") + "#proof")


def _running(ask: Ask) -> Response:
    """Answer whether what a page waits for is being computed still."""
    outcome = ask.site.background.outcome(ask.given("key", 1000))
    return JSONResponse({"running": outcome is not None and outcome.is_running})


def audits_of(ask: Ask, serial: str) -> list[tuple[str, Outcome | None, list[tuple[str, str, str]]]]:
    """Return depth, outcome and rows (what, outcome, how many held or why not) of each audit of a motor.

    An empty `serial` stands for the whole archive.
    """
    told = []
    for depth in DEPTHS:
        outcome = ask.site.background.outcome(_key(serial, depth))
        report = outcome.result if outcome else None
        rows = [] if report is None else [
            (TITLES[step], report.outcome(step), report.left_out.get(step, "") or str(report.held.get(step, 0)))
            for step in Step]
        told.append((depth, outcome, rows))
    return told


def _start(ask: Ask, serial: str) -> None:
    depth = ask.given("depth")
    if depth not in DEPTHS:
        raise UsageError("no such audit", where="audit", expected=" or ".join(DEPTHS), got=repr(depth),
                         remedy="Press one of the buttons.")
    station = ask.site.station
    scope = Scope(serial, depth == "recompute", limits=None if serial else station.limits)
    ask.site.background.start(_key(serial, depth), lambda: apart(_audit, station.store, station.keys, scope),
                              who=ask.name, at=stamp(ask.site.clock.utc()))
    ask.site.trail.add(ask.name, "audit", where=ask.where, about=_key(serial, depth))


def _audit(store: Path, keys: Path | None, scope: Scope) -> Report:
    return audit_store(store, load_trusted(None, None, keys), scope)


def _key(serial: str, depth: str) -> str:
    return f"audit of {serial or 'the archive'}, {depth}"


PAGES = (
    Page(ARCHIVE, Duty.READ, _archive),
    Page(ARCHIVE, Duty.READ, _audit_archive, post=True),
    Page("/evidence/{serial}/{run}/audit", Duty.READ, _audit_motor, post=True),
    Page("/evidence/running", Duty.READ, _running),
)
