"""Drafts: limit and sequence files that judge no motor of the production yet, and who has written them.

They are checked as everywhere and kept beside those in force; the trail has who kept which text, by its hash.
"""

import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from threading import Lock

from station.errors import UsageError
from station.judgement.limit_file import LimitFile, parse_limits
from station.record.capture_file import make_folder, write_durably
from station.record.record import sha256_of
from station.screens.ask import Ask
from station.screens.site import Site
from station.sequence.station_file import Station
from station.sequence_file import parse_sequence
from station.toml_file import TomlSource, parse_toml, read_toml

DRAFTS = "drafts"
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,60}\.toml")
LONGEST = 200_000       # characters of a file
KEPT, RELEASED = "save draft", "release limits"     # as the trail says it
_keeping = Lock()       # between the look at what is there and its replacement


@dataclass(frozen=True, slots=True)
class Kind:
    """Files of one kind: where those in force lie, and what holds them to their contract."""

    name: str
    folder: Callable[[Station], Path]
    check: Callable[[TomlSource], object]

    def drafts(self, station: Station) -> Path:
        """Return the folder of the drafts."""
        return station.folder / DRAFTS / self.name


LIMITS = Kind("limits", lambda station: station.limits, parse_limits)
SEQUENCES = Kind("sequences", lambda station: station.sequence.parent, parse_sequence)
KINDS = {kind.name: kind for kind in (LIMITS, SEQUENCES)}


def named(name: str) -> str:
    """Return the name of a file if it is a plain one; only those lead to files."""
    if not NAME.fullmatch(name):
        raise UsageError("that is no name of a file", where="files", expected="letters, digits, . _ - and .toml",
                         got=repr(name[:80]), remedy="Follow a link of the list, or choose a plain name.")
    return name


def names(folder: Path) -> list[str]:
    """Return the names of the files in a folder that pages show."""
    return sorted(path.name for path in folder.glob("*.toml") if NAME.fullmatch(path.name)) if folder.is_dir() else []


def keep_draft(ask: Ask, kind: Kind, name: str, text: str, was: str | None = None) -> str:
    """Keep `text` as the draft `name`, durably, and return its SHA-256; who keeps it stands in the trail.

    `was` is the hash of the draft that the person saw, "" for none; None replaces whatever is there.

    Raises
    ------
    FileContractError
        It does not hold; names every fault.
    UsageError
        It is too long, or somebody else has changed the draft meanwhile.
    """
    if len(text) > LONGEST:
        raise UsageError("the file is too long", where=name, expected=f"at most {LONGEST} characters", got=len(text),
                         remedy="Shorten it.")
    content = text.encode("utf-8")
    kind.check(parse_toml(content, name))
    folder = kind.drafts(ask.site.station)
    with _keeping:
        if was is not None:
            require_unchanged(folder / name, was)
        make_folder(folder)
        write_durably(folder / name, content)
        ask.site.trail.add(ask.name, KEPT, where=ask.where, about=f"{kind.name}/{name}, SHA-256 {sha256_of(content)}")
    return sha256_of(content)


def require_unchanged(path: Path, was: str) -> None:
    """Raise UsageError unless the draft at `path` is still that of the hash `was`, or none for ""."""
    now = hash_of(path)
    if now != was:
        raise UsageError("the draft was changed meanwhile", where=path.name, got=now or "none",
                         expected=f"SHA-256 {was}" if was else "no draft of that name yet",
                         remedy="Look at it as it is now, then decide again; or choose another name.")


def hash_of(path: Path) -> str:
    """Return the SHA-256 of a file, "" where there is none."""
    return sha256_of(path.read_bytes()) if path.is_file() else ""


def draft_of(station: Station, name: str) -> LimitFile:
    """Return a draft of limits; UsageError where there is none, FileContractError where it does not hold."""
    path = LIMITS.drafts(station) / named(name)
    if not path.is_file():
        raise UsageError("no such draft", where=LIMITS.name, expected=", ".join(names(path.parent)) or "a draft first",
                         got=name, remedy="Follow a link of the list.")
    return parse_limits(read_toml(path))


def authors_of(site: Site, name: str, sha256: str) -> tuple[str, ...]:
    """Return who has written the draft of limits `name`, whose content has that hash; nobody where that is not known.

    These are all who kept this very text, under whatever name, and all who kept another under this name since one of
    that name was released last: a little change by somebody else makes nobody a stranger to their own work.
    """
    here = f"{LIMITS.name}/{name}, "
    said = [json.loads(body) for body in site.trail.holding(here, sha256)]
    if not any(one["what"] == KEPT and sha256 in one["about"] for one in said):
        return ()
    last = max((one["number"] for one in said if one["what"] == RELEASED and one["good"]
                and one["about"].startswith(here)), default=0)
    return tuple(dict.fromkeys(one["who"] for one in said if one["what"] == KEPT
                               and (one["number"] > last or sha256 in one["about"])))
