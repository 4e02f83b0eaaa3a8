"""The keeper's page: who may sign in, as what, and with what; never records, limits or tests."""

from starlette.responses import Response

from station.errors import UsageError
from station.screens.access import Duty, Role
from station.screens.ask import Ask, Page
from station.screens.guarding import to
from station.screens.pages import page
from station.screens.people import NAME_LENGTH
from station.screens.words import languages


def _show(ask: Ask) -> Response:
    return page(ask, "people.html", people=ask.site.people.all(), roles=tuple(Role), tongues=languages())


def _add(ask: Ask) -> Response:
    name, roles = ask.given("name", NAME_LENGTH), [role for role in Role if ask.given(f"role.{role}")]
    language = ask.given("language", 10)
    ask.site.people.add(name, roles, password=ask.form.get("password", ""), badge=ask.given("badge"),
                        language=language if language in languages() else "")
    ask.site.trail.add(ask.name, "add a person", where=ask.where, about=name, why=" ".join(sorted(roles)))
    return to("/people")


def _give(ask: Ask) -> Response:
    name, password, badge = ask.given("name", NAME_LENGTH), ask.form.get("password", ""), ask.given("badge")
    ask.site.people.give(name, password=password, badge=badge)
    ask.site.sessions.end_all_of(name)
    ask.site.trail.add(ask.name, "give a badge" if badge else "give a password", where=ask.where, about=name)
    return to("/people")


def _disable(ask: Ask) -> Response:
    name = ask.given("name", NAME_LENGTH)
    if name == ask.name:
        raise UsageError("nobody disables themself", where="people", expected="somebody else's name", got=name,
                         remedy="Have another keeper do it.")
    ask.site.people.disable(name)
    ask.site.sessions.end_all_of(name)
    ask.site.trail.add(ask.name, "disable a person", where=ask.where, about=name)
    return to("/people")


def _end(ask: Ask) -> Response:
    name = ask.given("name", NAME_LENGTH)
    ask.site.sessions.end_all_of(name)
    ask.site.trail.add(ask.name, "sign somebody out", where=ask.where, about=name)
    return to("/people")


PAGES = (
    Page("/people", Duty.KEEP, _show),
    Page("/people/add", Duty.KEEP, _add, post=True),
    Page("/people/give", Duty.KEEP, _give, post=True),
    Page("/people/disable", Duty.KEEP, _disable, post=True),
    Page("/people/end", Duty.KEEP, _end, post=True),
)
