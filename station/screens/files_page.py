"""Limit and sequence files as text: shown, changed, checked as everywhere, and kept as drafts beside those in force.

A draft judges no motor of the production. How one comes into force is a matter of studies and releases.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from difflib import unified_diff
from pathlib import Path

from starlette.responses import Response

from station.errors import FileContractError, UsageError
from station.judgement.limit_file import parse_limits
from station.record.capture_file import make_folder, write_durably
from station.screens.access import Duty
from station.screens.ask import Ask, Page
from station.screens.pages import page
from station.sequence_file import parse_sequence
from station.toml_file import TomlSource, parse_toml

DRAFTS = "drafts"
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,60}\.toml")
LONGEST = 200_000       # characters of a file
MOST_OCTETS = 1 << 20


@dataclass(frozen=True, slots=True)
class Kind:
    """Files of one kind: where those in force lie, and what holds them to their contract."""

    name: str
    folder: Callable[[Ask], Path]
    check: Callable[[TomlSource], object]


KINDS = {
    "limits": Kind("limits", lambda ask: ask.site.station.limits, parse_limits),
    "sequences": Kind("sequences", lambda ask: ask.site.station.sequence.parent, parse_sequence),
}


def _list(ask: Ask) -> Response:
    found = {name: (_names(kind.folder(ask)), _names(_drafts(ask, kind))) for name, kind in KINDS.items()}
    return page(ask, "files_list.html", found=found)


def _show(ask: Ask) -> Response:
    kind, name = _kind(ask), _name(ask)
    in_force, draft = _text(kind.folder(ask) / name), _text(_drafts(ask, kind) / name)
    if in_force is None and draft is None:
        raise UsageError("no such file", where=kind.name, expected="one of the list", got=name,
                         remedy="Follow a link of the list.")
    return _shown(ask, kind, name, draft if draft is not None else in_force or "", in_force)


def _save(ask: Ask) -> Response:
    """Keep what was written as a draft if it holds; else show every fault, with the text as it was written."""
    kind, name = _kind(ask), _name(ask)
    text = ask.form.get("text", "").replace("\r\n", "\n")
    if len(text) > LONGEST:
        raise UsageError("the file is too long", where=name, expected=f"at most {LONGEST} characters", got=len(text),
                         remedy="Shorten it.")
    in_force = _text(kind.folder(ask) / name)
    try:
        kind.check(parse_toml(text.encode("utf-8"), name))
    except FileContractError as error:
        return _shown(ask, kind, name, text, in_force, error, status=400)
    folder = _drafts(ask, kind)
    make_folder(folder)
    write_durably(folder / name, text.encode("utf-8"))
    ask.site.trail.add(ask.name, "save draft", where=ask.where, about=f"{kind.name}/{name}")
    return _shown(ask, kind, name, text, in_force, saved=True)


def _shown(ask: Ask, kind: Kind, name: str, text: str, in_force: str | None, error: FileContractError | None = None,
           status: int = 200, *, saved: bool = False) -> Response:
    lines = list(unified_diff((in_force or "").splitlines(), text.splitlines(), "in force", "draft", lineterm="", n=2))
    return page(ask, "files_one.html", status, kind=kind.name, name=name, text=text, changes=lines, saved=saved,
                faults=error.faults if error else ())


def _names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.glob("*.toml") if NAME.fullmatch(path.name)) if folder.is_dir() else []


def _drafts(ask: Ask, kind: Kind) -> Path:
    return ask.site.station.folder / DRAFTS / kind.name


def _text(path: Path) -> str | None:
    """Return a file's text, None if there is none; what is no UTF-8 is shown as such and will not hold."""
    return path.read_text(encoding="utf-8", errors="replace") if path.is_file() else None


def _kind(ask: Ask) -> Kind:
    kind = KINDS.get(ask.path("kind"))
    if kind is None:
        raise UsageError("no such files", where="files", expected=" or ".join(KINDS), got=ask.path("kind")[:40],
                         remedy="Follow a link of the list.")
    return kind


def _name(ask: Ask) -> str:
    """Return the name of the file in the address; only plain names lead to files."""
    name = ask.path("name")
    if not NAME.fullmatch(name):
        raise UsageError("that is no name of a file", where="files", expected="letters, digits, . _ - and .toml",
                         got=repr(name[:80]), remedy="Follow a link of the list.")
    return name


PAGES = (
    Page("/files", Duty.DRAFT, _list),
    Page("/files/{kind}/{name}", Duty.DRAFT, _show),
    Page("/files/{kind}/{name}", Duty.DRAFT, _save, post=True, most_octets=MOST_OCTETS),
)
