"""Signing in and out: operators by badge, everybody else by name and password."""

from urllib.parse import quote

from starlette.responses import Response

from station.errors import NotAllowedError
from station.screens.access import Duty, Role
from station.screens.ask import Ask, Page
from station.screens.attempts import by_computer, by_name
from station.screens.guarding import cookie_name, to
from station.screens.pages import page
from station.screens.people import Person
from station.screens.words import languages

HOMES = ((Role.OPERATOR, "/line"), (Role.ENGINEER, "/tests"), (Role.RELEASER, "/files"), (Role.AUDITOR, "/evidence"),
         (Role.KEEPER, "/people"))
PANEL_ROLES = (Role.OPERATOR, Role.KEEPER)


def _show(ask: Ask) -> Response:
    return page(ask, "sign_in.html", then=inside(ask.given("then")), failed=False)


def _sign_in(ask: Ask) -> Response:
    """Sign in by password; what was wrong, name or password, is never said."""
    person = proved(ask)
    if person is None:
        ask.site.trail.add(claimed(ask), "sign in", where=ask.where, good=False)
        return page(ask, "sign_in.html", 401, then=inside(ask.given("then")), failed=True)
    return enter(ask, person, inside(ask.given("then")) or home_of(person, at_panel=ask.is_at_panel))


def proved(ask: Ask) -> Person | None:
    """Return whose name and password a form holds, or None; PatienceError after too many that did not fit."""
    return proved_as(ask, ask.given("name"))


def proved_as(ask: Ask, name: str) -> Person | None:
    """Return the person of that name if a form holds their password, or None; errors as `proved`."""
    attempts = ask.site.attempts
    sources = by_computer(ask.where), by_name(name, at_panel=ask.is_at_panel)
    attempts.begin(ask.site.clock.monotonic(), *sources)
    person = ask.site.people.by_password(name, ask.form.get("password", ""))
    if person is not None:
        attempts.forgive(*sources)
    return person


def claimed(ask: Ask) -> str:
    """Return the name that a form holds if it is somebody's; what else is typed there is told nowhere.

    It may be a password, in the wrong field.
    """
    name = " ".join(ask.given("name").split())
    return name if name in {person.name for person, _ in ask.site.people.all()} else "somebody unknown"


def _sign_out(ask: Ask) -> Response:
    ask.site.sessions.end(ask.request.cookies.get(cookie_name(ask.request), ""))
    ask.site.trail.add(ask.name, "sign out", where=ask.where)
    answer = to("/sign-in")
    answer.delete_cookie(cookie_name(ask.request), path="/")
    return answer


def _home(ask: Ask) -> Response:
    if ask.person:
        return to(home_of(ask.person, at_panel=ask.is_at_panel))
    return to("/line" if ask.site.line and ask.is_at_panel else "/sign-in")


def _language(ask: Ask) -> Response:
    code, answer = ask.given("code", 10), to(inside(ask.given("then")) or "/")
    if code in languages():
        answer.set_cookie("language", code, max_age=365 * 86_400, httponly=True, samesite="strict",
                          secure=ask.request.url.scheme == "https")
        if ask.person:
            ask.site.people.speak(ask.name, code)
    return answer


def enter(ask: Ask, person: Person, address: str) -> Response:
    """Begin a session of `person` in the browser that asks, and send it to `address`."""
    name = cookie_name(ask.request)
    token = ask.site.sessions.begin(person, ask.where, ask.request.cookies.get(name, ""))
    ask.site.trail.add(person.name, "sign in", where=ask.where, about=" ".join(sorted(person.roles)))
    answer = to(address)
    answer.set_cookie(name, token, httponly=True, samesite="strict", path="/", secure=ask.request.url.scheme == "https")
    return answer


def home_of(person: Person, *, at_panel: bool) -> str:
    """Return the first page of somebody with these roles; NotAllowedError where there is none but at the panel."""
    homes = [address for role, address in HOMES if role in person.roles and (at_panel or role not in PANEL_ROLES)]
    if not homes:
        raise NotAllowedError("this is done at the station itself", where="sign in", expected="the station's own panel",
                              got="another computer", remedy="Go to the station.")
    return homes[0]


def inside(address: str) -> str:
    """Return `address` if it is one of ours, else nothing: no way leads out of the station."""
    return quote(address, safe="/?=&-._~@ ").replace(" ", "%20") if address.startswith("/") and not (
        address.startswith(("//", "/\\"))) else ""


PAGES = (
    Page("/", Duty.NONE, _home),
    Page("/sign-in", Duty.NONE, _show),
    Page("/sign-in", Duty.NONE, _sign_in, post=True),
    Page("/sign-out", Duty.SIGNED_IN, _sign_out, post=True),
    Page("/language", Duty.NONE, _language, post=True),
)
