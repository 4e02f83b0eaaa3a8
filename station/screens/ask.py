"""One request as handlers see it: who asks, what for, and what a form held."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from starlette.requests import Request
from starlette.responses import Response

from station.errors import UsageError
from station.screens.access import Duty
from station.screens.people import Person
from station.screens.site import Site

COOKIE = "station"      # with the prefix __Host- where the page came over TLS


@dataclass(frozen=True, slots=True)
class Ask:
    """A request that passed the checks of `guarded`; `person` is None on pages that ask for no sign-in."""

    request: Request
    site: Site
    person: Person | None
    form: Mapping[str, str] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """Who asks, for records and trail."""
        return self.person.name if self.person else ""

    @property
    def where(self) -> str:
        """From which computer."""
        return self.request.client.host if self.request.client else "here"

    @property
    def is_at_panel(self) -> bool:
        """Whether this was asked at the station itself, and not from another computer of the plant."""
        return bool(self.request.app.state.at_panel)

    def given(self, name: str, longest: int = 200) -> str:
        """Return a field of the form, or of the query, stripped.

        Raises
        ------
        UsageError
            It is longer than `longest` characters, or holds what cannot be printed.
        """
        text = str(self.form.get(name, self.request.query_params.get(name, ""))).strip()
        if len(text) > longest or not text.isprintable():
            raise UsageError("that cannot be right", where=name, expected=f"at most {longest} printable characters",
                             got=f"{len(text)} characters", remedy="Go back and enter it again.")
        return text

    def path(self, name: str) -> str:
        """Return a part of the address."""
        return str(self.request.path_params[name])


Handler = Callable[[Ask], Response]


@dataclass(frozen=True, slots=True)
class Page:
    """One address: what it asks of a person, and who answers it; `post` changes something, else it only shows."""

    path: str
    duty: Duty
    handler: Handler
    post: bool = False
    most_octets: int = 1 << 20      # of a form
