"""How bright the hall is that the panel stands in: as chosen there, else as the station file says."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from station.screens.ask import Ask

HALLS = ("bright", "dark")
COOKIE = "hall"


def hall_of(ask: "Ask") -> str:
    """Return how bright the hall is for whoever asks."""
    chosen = ask.request.cookies.get(COOKIE, "")
    return chosen if chosen in HALLS else ask.site.station.panel.hall
