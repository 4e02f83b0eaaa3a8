"""Limit and sequence files as text: shown, changed, checked as everywhere, and kept as drafts beside those in force.

A draft judges no motor of the production. How one comes into force is a matter of studies and releases.
"""

from difflib import unified_diff
from pathlib import Path

from starlette.responses import Response

from station.errors import FileContractError, UsageError
from station.screens.access import Duty
from station.screens.ask import Ask, Page
from station.screens.drafts import KINDS, Kind, hash_of, keep_draft, named, names
from station.screens.pages import page

MOST_OCTETS = 1 << 20


def _list(ask: Ask) -> Response:
    station = ask.site.station
    found = {name: (names(kind.folder(station)), names(kind.drafts(station))) for name, kind in KINDS.items()}
    return page(ask, "files_list.html", found=found)


def _show(ask: Ask) -> Response:
    kind, name = _kind(ask), named(ask.path("name"))
    in_force, draft = _text(kind.folder(ask.site.station) / name), _text(kind.drafts(ask.site.station) / name)
    if in_force is None and draft is None:
        raise UsageError("no such file", where=kind.name, expected="one of the list", got=name,
                         remedy="Follow a link of the list.")
    return _shown(ask, kind, name, draft if draft is not None else in_force or "")


def _save(ask: Ask) -> Response:
    """Keep what was written as a draft if it holds; else show every fault, with the text as it was written."""
    kind, name = _kind(ask), named(ask.path("name"))
    text = ask.form.get("text", "").replace("\r\n", "\n")
    try:
        keep_draft(ask, kind, name, text, ask.given("was", 64) if "was" in ask.form else None)
    except FileContractError as error:
        return _shown(ask, kind, name, text, error, status=400)
    return _shown(ask, kind, name, text, saved=True)


def _shown(ask: Ask, kind: Kind, name: str, text: str, error: FileContractError | None = None, status: int = 200, *,
           saved: bool = False) -> Response:
    in_force = _text(kind.folder(ask.site.station) / name)
    lines = list(unified_diff((in_force or "").splitlines(), text.splitlines(), "in force", "draft", lineterm="", n=2))
    was = ask.given("was", 64) if error else hash_of(kind.drafts(ask.site.station) / name)
    return page(ask, "files_one.html", status, kind=kind.name, name=name, text=text, changes=lines, saved=saved,
                was=was, faults=error.faults if error else ())


def _text(path: Path) -> str | None:
    """Return a file's text, None if there is none; what is no UTF-8 is shown as such and will not hold."""
    return path.read_text(encoding="utf-8", errors="replace") if path.is_file() else None


def _kind(ask: Ask) -> Kind:
    kind = KINDS.get(ask.path("kind"))
    if kind is None:
        raise UsageError("no such files", where="files", expected=" or ".join(KINDS), got=ask.path("kind")[:40],
                         remedy="Follow a link of the list.")
    return kind


PAGES = (
    Page("/files", Duty.DRAFT, _list),
    Page("/files/{kind}/{name}", Duty.DRAFT, _show),
    Page("/files/{kind}/{name}", Duty.DRAFT, _save, post=True, most_octets=MOST_OCTETS),
)
