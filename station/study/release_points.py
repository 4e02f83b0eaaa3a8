"""What must hold before a draft is released, point by point, so that a person sees it before they sign."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from station.errors import StationError
from station.judgement.limit_file import LimitFile
from station.record.log_key import LogKey
from station.record.store import Store
from station.study.compare import Change
from station.study.release import require_follows
from station.study.study_report import study_of

State = Literal["holds", "broken", "open"]      # open: a person must look, nothing forbids it


@dataclass(frozen=True, slots=True)
class Point:
    """One point: `words` say what is wrong or worth a look, and are empty where it holds."""

    key: str
    state: State
    words: str = ""


@dataclass(frozen=True, slots=True)
class Finders:
    """How what a release needs of the station is found; each raises StationError where it is not there."""

    target: Callable[[], Path]      # the limit file that the draft replaces
    key: Callable[[], LogKey]


def release_points(store: Store, draft: LimitFile, study: bytes | None, changes: tuple[Change, ...], find: Finders
                   ) -> list[Point]:
    """Return the points that the draft itself must meet; `study` is the report on it, None before there is one.

    A study that is merely older than the newest tests leaves its point open: it is made anew before the release.
    """
    points = [_point("file", find.target)]
    if points[0].state == "holds":
        points.append(_point("number", lambda: require_follows(store, draft, find.target())))
    points.append(_point("key", find.key))
    dropped = [change.key for change in changes if change.direction == "dropped"]
    points.append(Point("dropped", "open", ", ".join(dropped)) if dropped else Point("dropped", "holds"))
    if not changes:
        points.append(Point("changes", "open"))
    points.append(_study_point(store, draft, study))
    return points


def _study_point(store: Store, draft: LimitFile, study: bytes | None) -> Point:
    if study is None:
        return Point("study", "broken")
    found = _point("study", lambda: study_of(study, draft.name, draft.sha256, store.log))
    return Point("study", "open", found.words) if found.state == "broken" else found


def _point(key: str, look: Callable[[], object]) -> Point:
    try:
        look()
    except StationError as error:
        return Point(key, "broken", f"{error.what} ({error.where}): {error.expected} / {error.got}. {error.remedy}")
    return Point(key, "holds")
