"""Limits at one glance: of each motor type what is in force, which drafts there are, and what was released and why."""

from dataclasses import dataclass

from starlette.responses import Response

from station.errors import FileContractError
from station.judgement.limit_file import LimitFile
from station.record.release_entry import revision_of
from station.record.schema import DATABASE
from station.screens.access import Duty
from station.screens.ask import Ask, Page
from station.screens.drafts import LIMITS, authors_of, draft_of, names
from station.screens.guarding import to
from station.screens.pages import page
from station.sequence.limits_of_type import limit_files, limits_in_force
from station.study.release import released_name
from station.study.release_history import Release, releases_told, restore_last


@dataclass(frozen=True, slots=True)
class Draft:
    """A draft; without `limits` it does not hold."""

    name: str
    limits: LimitFile | None
    authors: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OfType:
    """What there is of a motor type."""

    motor_type: str
    in_force: LimitFile | None
    drafts: list[Draft]
    released: list[Release]

    @property
    def files_released(self) -> dict[int, str]:
        """The name of the file of each release, by its entry of the log."""
        return {one.said["log"]["seq"]: released_name(revision_of(one.said)) for one in self.released}

    @property
    def drafts_released(self) -> set[str]:
        """The hashes of drafts that were released."""
        return {one.said["draft_sha256"] for one in self.released}

    @property
    def is_replaced(self) -> bool:
        """Whether the file in force is another than the one released last."""
        return bool(self.released) and (self.in_force is None
                                        or self.in_force.sha256 != self.released[-1].said["sha256"])


def _list(ask: Ask) -> Response:
    drafts = [_draft(ask, name) for name in names(LIMITS.drafts(ask.site.station))]
    in_force = limits_in_force(ask.site.station)
    types = dict.fromkeys([*in_force, *(one.limits.motor_type.name for one in drafts if one.limits)])
    rows = [OfType(name, in_force.get(name), [one for one in drafts if one.limits
                                              and one.limits.motor_type.name == name], _released(ask, name))
            for name in types]
    return page(ask, "limits_list.html", types=rows, broken=[one for one in drafts if one.limits is None])


def _restore(ask: Ask) -> Response:
    """Put the file of the last release back in place."""
    motor_type, station = ask.path("type"), ask.site.station
    with ask.site.store() as store:
        said, _target = restore_last(store, motor_type, station.limits, limit_files(station))
    ask.site.trail.add(ask.name, "restore limits", where=ask.where,
                       about=f"{motor_type} revision {said['revision']}, SHA-256 {said['sha256']}")
    return to("/limits")


def _released(ask: Ask, motor_type: str) -> list[Release]:
    """Return what was released of a type; nothing where no test was stored yet, so that there is no store."""
    station = ask.site.station
    if not (station.store / DATABASE).exists():
        return []
    with ask.site.store() as store:
        return releases_told(store, motor_type, station.keys)


def _draft(ask: Ask, name: str) -> Draft:
    try:
        limits = draft_of(ask.site.station, name)
    except FileContractError:       # changed by hand: its page shows every fault
        return Draft(name, None, ())
    return Draft(name, limits, authors_of(ask.site, name, limits.sha256))


PAGES = (
    Page("/limits", Duty.DRAFT, _list),
    Page("/limits/restore/{type}", Duty.RELEASE, _restore, post=True),
)
