"""Pages out of templates: escaped, in the language of whoever asks, with numbers as people write them."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.responses import HTMLResponse, JSONResponse, Response

from station.errors import StationError
from station.screens.access import AT_PANEL, Duty, may
from station.screens.assets import address_of
from station.screens.hall import hall_of
from station.screens.refusal import RefusedError
from station.screens.words import DEFAULT, Words, language_for
from station.units import printed

if TYPE_CHECKING:
    from station.screens.ask import Ask

# The pages of the desk: address, key of its name, and who may see it.
DESK: tuple[tuple[str, str, Duty], ...] = (
    ("/tests", "desk.tests", Duty.READ), ("/limits", "desk.limits", Duty.DRAFT),
    ("/files", "desk.files", Duty.DRAFT), ("/bench", "desk.bench", Duty.DRAFT),
    ("/studies", "desk.studies", Duty.DRAFT), ("/evidence", "desk.evidence", Duty.READ),
    ("/people", "desk.people", Duty.KEEP))

_templates = Environment(loader=FileSystemLoader(Path(__file__).with_name("templates")), autoescape=True,
                         undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
_templates.globals |= {"asset": address_of, "printed": printed,
                       "may": lambda person, duty: may(person.roles if person else (), duty)}


def page(ask: "Ask", template: str, status: int = 200, **given: Any) -> Response:  # noqa: ANN401 - what a template shows
    """Return a page from `template`, which sees `given`, the station, the person and the words of their language."""
    return HTMLResponse(part(ask, template, **given), status)


def part(ask: "Ask", template: str, **given: Any) -> str:  # noqa: ANN401 - what a template shows
    """Return what `template` makes, as `page`, without a response around it."""
    words = words_for(ask)
    return _templates.get_template(template).render(
        station=ask.site.station, person=ask.person, here=ask.request.url.path, words=words, t=words.text,
        number=words.number, desk_pages=_desk(ask), has_rig=ask.site.fixture is not None, **given)


def _desk(ask: "Ask") -> list[tuple[str, str]]:
    """Return address and key of the desk's pages for whoever asks from where they are."""
    roles = ask.person.roles if ask.person else ()
    return [(address, key) for address, key, duty in DESK
            if may(roles, duty) and (ask.is_at_panel or duty not in AT_PANEL)]


def words_for(ask: "Ask") -> Words:
    """Return the words of the language that the person chose, else the browser's, else English."""
    chosen = (ask.person.language if ask.person else "") or ask.request.cookies.get("language", "")
    chosen = chosen or ask.site.station.panel.language
    return language_for(chosen, ask.request.headers.get("accept-language", "")) or DEFAULT


def trouble_page(ask: "Ask", status: int, error: StationError) -> Response:
    """Return the page, or the JSON where that was asked for, that tells what went wrong and what to do.

    What holds of all that is answered with `status` is said in the person's language, and so is a reason that has
    words of its own; the error's words stand below, as it has them.
    """
    if "application/json" in ask.request.headers.get("accept", ""):
        return JSONResponse({"what": error.what, "where": error.where, "expected": str(error.expected),
                             "got": str(error.got), "remedy": error.remedy}, status)
    at_line = ask.request.url.path.startswith("/line") and ask.is_at_panel
    code = status if f"trouble.{status}" in DEFAULT.texts else 500
    said = error.refusal if isinstance(error, RefusedError) else None
    return page(ask, "trouble.html", status, error=error, code=code, said=said, at_line=at_line,
                hall=hall_of(ask))
