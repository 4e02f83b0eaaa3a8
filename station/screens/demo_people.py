"""The people of a demonstration: one for each role, with a badge and a password that everybody knows.

They are let in at a simulated bench alone, where nothing that anybody does counts.
"""

from dataclasses import dataclass

from station.errors import NotAllowedError
from station.screens.access import Role
from station.screens.people import People
from station.screens.site import people_folder
from station.screens.trail import Trail
from station.sequence.station_file import Station

PASSWORD = "a password for demonstrations"  # noqa: S105 - no secret, on purpose
WHERE = "demonstration"


@dataclass(frozen=True, slots=True)
class DemoPerson:
    """Somebody invented; an operator has a badge and no password, everybody else the other way round."""

    name: str
    role: Role
    badge: str = ""

    @property
    def password(self) -> str:
        """What they sign in with, empty for who has a badge."""
        return "" if self.badge else PASSWORD


OPERATOR = DemoPerson("K. Amsel", Role.OPERATOR, "B-1001")
PEOPLE = (OPERATOR, DemoPerson("R. Fink", Role.ENGINEER), DemoPerson("S. Olm", Role.RELEASER),
          DemoPerson("T. Elster", Role.AUDITOR), DemoPerson("U. Rabe", Role.KEEPER))


def let_in(station: Station, trail: Trail, who: str) -> None:
    """Give everybody of the demonstration an account at `station`; safe to repeat. `who` does it, for the trail.

    Raises
    ------
    NotAllowedError
        The bench is a real one; or somebody has an account here who is not of the demonstration, or has another
        password or badge than everybody knows. Then nobody is let in.
    """
    if station.simulated is None:
        raise NotAllowedError("this bench is a real one", where=str(station.folder), expected="a simulated bench",
                              got="instruments with addresses of their own",
                              remedy="Add the people who work there: `station people add`, then `station serve`.")
    people = trail.people
    known = {person.name for person, _ in people.all()}
    strangers = sorted(known - {one.name for one in PEOPLE}) or [
        one.name for one in PEOPLE if one.name in known and not _as_everybody_knows(people, one)]
    if strangers:
        raise NotAllowedError("people have accounts of their own here", where=str(people_folder(station)),
                              expected="the people of the demonstration, or nobody", got=", ".join(strangers),
                              remedy="Start it without the demonstration's people, or name another folder.")
    for one in PEOPLE:
        if one.name not in known:
            people.add(one.name, [one.role], password=one.password, badge=one.badge)
            trail.add(who, "add a person", where=WHERE, about=one.name, why=one.role)


def _as_everybody_knows(people: People, one: DemoPerson) -> bool:
    found = people.by_badge(one.badge) if one.badge else people.by_password(one.name, one.password)
    return found is not None and found.name == one.name and found.roles == {one.role}
