"""Putting a draft in force: what it changes and what speaks for it, seen and signed by a second person."""

from difflib import unified_diff

from starlette.responses import Response

from station.clock import stamp
from station.errors import NotAllowedError, UsageError
from station.judgement.limit_file import LimitFile
from station.record.log_key import LogKey
from station.record.record import sha256_of
from station.record.statement import Statement
from station.record.store import Store
from station.screens.access import Duty
from station.screens.ask import Ask, Page
from station.screens.drafts import LIMITS, RELEASED, authors_of, draft_of
from station.screens.guarding import to
from station.screens.line import Writing
from station.screens.pages import page
from station.screens.release_forms import Seen
from station.screens.release_study import kept_study, make_study, require_study, study_path
from station.screens.sign_in import proved_as
from station.screens.site import Site
from station.sequence.limits_of_type import limit_file_of, limits_in_force
from station.sequence.opening import keys_folder, open_store
from station.study.compare import compare
from station.study.release import Wish, release_draft
from station.study.release_points import Finders, Point, release_points
from station.study.release_study import told_by

LONGEST_REASON = 300


def _show(ask: Ask) -> Response:
    station, draft = ask.site.station, draft_of(ask.site.station, ask.path("name"))
    outcome = ask.site.background.outcome(_key(draft))      # before its result is read: what is not awaited is there
    in_force = limits_in_force(station).get(draft.motor_type.name)
    changes = compare(in_force, draft) if in_force else ()
    report, authors = kept_study(station, draft), authors_of(ask.site, draft.name, draft.sha256)
    find = Finders(lambda: limit_file_of(station, draft.motor_type.name), lambda: LogKey.load(keys_folder(station)))
    with ask.site.store() as store:
        points = [*release_points(store, draft, report, changes, find), _second_person(ask, authors)]
    seen = Seen(draft.sha256, in_force.sha256 if in_force else "", sha256_of(report) if report else "")
    can = all(point.state != "broken" for point in points)
    return page(ask, "limits_release.html", draft=draft, in_force=in_force, changes=changes, authors=authors,
                points=points, told=told_by(report) if report else None, difference=_difference(in_force, draft),
                outcome=outcome, longest=LONGEST_REASON,
                token=ask.site.forms.give(ask.name, seen, ask.site.clock.monotonic()) if can else "")


def _study(ask: Ask) -> Response:
    """Begin the study of the draft; the page waits for it."""
    draft, site = draft_of(ask.site.station, ask.path("name")), ask.site
    site.background.start(_key(draft), lambda: _made(site, draft), who=ask.name, at=stamp(site.clock.utc()))
    site.trail.add(ask.name, "study draft", where=ask.where, about=f"limits/{draft.name}, SHA-256 {draft.sha256}")
    return to(f"/limits/release/{draft.name}")


def _made(site: Site, draft: LimitFile) -> None:
    """Make the study; what it says is read from where it is kept."""
    make_study(site, draft)


def _release(ask: Ask) -> Response:
    """Put the draft in force, as the person has seen it and nothing else."""
    name, reason, token = ask.path("name"), ask.given("reason", LONGEST_REASON), ask.given("token", 80)
    site, now = ask.site, ask.site.clock.monotonic()
    seen = site.forms.look(token, ask.name, now)
    draft = draft_of(site.station, name)
    if not reason:
        raise UsageError("a reason is missing", where="release", expected="why these limits come into force",
                         got="nothing", remedy="Go back and write it down; it stands in the log for ever.")
    _require_themself(ask, draft)
    _require_somebody_else(ask, draft)
    if draft.sha256 != seen.draft:
        raise UsageError("the draft was changed meanwhile", where=draft.name, expected=f"SHA-256 {seen.draft}",
                         got=draft.sha256, remedy="Open the page again and look at it, then decide again.")
    site.forms.take(token, ask.name, now)
    said = written(ask, lambda store: _put_in_force(ask, store, draft, seen, reason))
    site.trail.add(ask.name, RELEASED, where=ask.where, why=reason, about=f"limits/{draft.name}, "
                   f"{said['motor_type']} revision {said['revision']}, SHA-256 {said['sha256']}")
    return to("/limits")


def _put_in_force(ask: Ask, store: Store, draft: LimitFile, seen: Seen, reason: str) -> Statement:
    """Release the draft while nothing is tested; what is in force must be what the person saw."""
    station = ask.site.station
    target = limit_file_of(station, draft.motor_type.name)
    in_force = limits_in_force(station).get(draft.motor_type.name)
    if (in_force.sha256 if in_force else "") != seen.in_force:
        raise UsageError("the limits in force were changed meanwhile", where=target.name,
                         expected=f"SHA-256 {seen.in_force or 'of none'}", got=in_force.sha256 if in_force else "none",
                         remedy="Open the page again and look at what the draft changes now.")
    require_study(ask.site, store, draft, seen.study)
    wish = Wish(LIMITS.drafts(station) / draft.name, target, study_path(station, draft), ask.name, reason)
    return release_draft(store, LogKey.load(keys_folder(station)), wish, ask.site.clock)


def written(ask: Ask, work: Writing) -> Statement:
    """Let `work` write to the store: between two tests of the line, or, where none is open here, at once."""
    if ask.site.line is not None:
        return ask.site.line.between_tests(work)
    with open_store(ask.site.station) as store:
        return work(store)


def _require_themself(ask: Ask, draft: LimitFile) -> None:
    """Raise NotAllowedError unless the person has entered their password anew. Source: ASVS 5.0 7.5.3."""
    if proved_as(ask, ask.name) is None:
        ask.site.trail.add(ask.name, RELEASED, where=ask.where, about=f"limits/{draft.name}", good=False)
        raise NotAllowedError("that is not your password", where="release", expected=f"the password of {ask.name}",
                              got="another", remedy="Go back and enter it again.")


def _require_somebody_else(ask: Ask, draft: LimitFile) -> None:
    """Raise NotAllowedError where the person has written the draft, or nobody knows who has."""
    authors = authors_of(ask.site, draft.name, draft.sha256)
    point = _second_person(ask, authors)
    if point.state == "broken":
        ask.site.trail.add(ask.name, RELEASED, where=ask.where, about=f"limits/{draft.name}", good=False)
        raise NotAllowedError("nobody releases their own draft", where=draft.name, got=point.words,
                              expected="a draft that somebody else has kept here",
                              remedy="Ask another releaser; or let somebody else keep it and answer for it.")


def _second_person(ask: Ask, authors: tuple[str, ...]) -> Point:
    """Return the point of the second person; open for who may not release anyway."""
    if not authors:
        return Point("second", "broken", "nobody kept this text here")
    return Point("second", "broken", ask.name) if ask.name in authors else Point("second", "holds")


def _difference(in_force: LimitFile | None, draft: LimitFile) -> list[str]:
    return list(unified_diff(in_force.text.splitlines() if in_force else [], draft.text.splitlines(), "in force",
                             "draft", lineterm="", n=2))


def _key(draft: LimitFile) -> str:
    return f"study of {draft.name}, {draft.sha256[:12]}"


PAGES = (
    Page("/limits/release/{name}", Duty.DRAFT, _show),
    Page("/limits/release/{name}/study", Duty.DRAFT, _study, post=True),
    Page("/limits/release/{name}", Duty.RELEASE, _release, post=True),
)
