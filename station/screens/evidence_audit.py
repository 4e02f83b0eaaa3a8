"""Audits begun from a page: of one motor's runs or of the whole archive, each computed beside everything else."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from starlette.responses import JSONResponse, Response

from station.audit.finding import Report
from station.audit.store_audit import Scope, audit_store
from station.audit.trusted import load_trusted
from station.clock import stamp
from station.errors import EvidenceError, UsageError
from station.screens.access import Duty
from station.screens.apart import apart
from station.screens.ask import Ask, Page
from station.screens.background import Outcome
from station.screens.guarding import to
from station.screens.kept_audits import FOLDER, KeptAudit, keep_audit, kept_audit, kept_audits
from station.screens.pages import page
from station.screens.tests_page import record_of

DEPTHS = ("quick", "recompute")     # signatures, log and files only; or every page and number again, too
ARCHIVE = "/evidence/archive"
SHOWN = 20      # audits of earlier in one list


@dataclass(frozen=True, slots=True)
class Audits:
    """For each depth what is under way or came to no end, and the newest one kept; then all that are kept.

    `faults` tell which cannot be shown.
    """

    depths: tuple[tuple[str, Outcome | None, KeptAudit | None], ...]
    kept: Sequence[KeptAudit]
    faults: Sequence[EvidenceError]


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


def _kept(ask: Ask) -> Response:
    """Show one audit of earlier."""
    audit = kept_audit(_folder(ask), ask.path("name"))
    return page(ask, "evidence_kept.html", audit=audit)


def audits_of(ask: Ask, serial: str) -> Audits:
    """Return every audit of a motor, or of the whole archive for an empty `serial`."""
    kept, faults = kept_audits(_folder(ask), serial, SHOWN)
    under_way = [(depth, ask.site.background.outcome(_key(serial, depth))) for depth in DEPTHS]
    newest = {depth: next((one for one in kept if one.depth == depth), None) for depth in DEPTHS}
    return Audits(tuple((depth, outcome if outcome and not outcome.result else None, newest[depth])
                        for depth, outcome in under_way), kept, faults)


def _start(ask: Ask, serial: str) -> None:
    depth = ask.given("depth")
    if depth not in DEPTHS:
        raise UsageError("no such audit", where="audit", expected=" or ".join(DEPTHS), got=repr(depth),
                         remedy="Press one of the buttons.")
    begun = stamp(ask.site.clock.utc())
    ask.site.background.start(_key(serial, depth), partial(_carry_out, ask, serial, depth, begun), who=ask.name,
                              at=begun)
    ask.site.trail.add(ask.name, "audit", where=ask.where, about=_key(serial, depth))


def _carry_out(ask: Ask, serial: str, depth: str, begun: str) -> KeptAudit:
    """Audit, and keep the outcome before anybody is shown it."""
    site, station = ask.site, ask.site.station
    scope = Scope(serial, depth == "recompute", limits=None if serial else station.limits)
    report = apart(_audit, station.store, station.keys, scope)
    kept = keep_audit(_folder(ask), KeptAudit(serial, depth, ask.name, begun, stamp(site.clock.utc()), report))
    site.trail.add(ask.name, "audit ended", where=ask.where, about=_key(serial, depth), why=f"SHA-256 {kept.sha256}",
                   good=report.is_clean)
    return kept


def _folder(ask: Ask) -> Path:
    return ask.site.station.folder / FOLDER


def _audit(store: Path, keys: Path | None, scope: Scope) -> Report:
    return audit_store(store, load_trusted(None, None, keys), scope)


def _key(serial: str, depth: str) -> str:
    return f"audit of {serial or 'the archive'}, {depth}"


PAGES = (
    Page(ARCHIVE, Duty.READ, _archive),
    Page(ARCHIVE, Duty.READ, _audit_archive, post=True),
    Page("/evidence/{serial}/{run}/audit", Duty.READ, _audit_motor, post=True),
    Page("/evidence/running", Duty.READ, _running),
    Page("/evidence/audits/{name}", Duty.READ, _kept),
)
