"""Who may do what: five roles, the duties that pages ask for, and one table between them."""

from collections.abc import Iterable
from enum import StrEnum


class Role(StrEnum):
    """What a person is at this station; one may be several."""

    OPERATOR = "operator"
    ENGINEER = "engineer"
    RELEASER = "releaser"
    AUDITOR = "auditor"
    KEEPER = "keeper"       # of accounts


class Duty(StrEnum):
    """What a page or an action asks of a person; `NONE` asks for no sign-in at all."""

    NONE = "none"
    SIGNED_IN = "signed in"
    TEST = "test motors"
    ALLOW = "allow further runs, unlock the line"
    DRAFT = "study, and draft limits"
    RELEASE = "release limits"
    READ = "read and verify records"
    KEEP = "keep accounts"


MAY: dict[Duty, frozenset[Role]] = {
    Duty.SIGNED_IN: frozenset(Role),
    Duty.TEST: frozenset({Role.OPERATOR, Role.ENGINEER}),
    Duty.ALLOW: frozenset({Role.ENGINEER}),
    Duty.DRAFT: frozenset({Role.ENGINEER, Role.RELEASER}),
    Duty.RELEASE: frozenset({Role.RELEASER}),
    Duty.READ: frozenset({Role.ENGINEER, Role.RELEASER, Role.AUDITOR}),
    Duty.KEEP: frozenset({Role.KEEPER}),
}

# What is done where the motor is: no page for other computers arms, moves or unlocks anything, or makes accounts.
AT_PANEL = frozenset({Duty.TEST, Duty.ALLOW, Duty.KEEP})


def may(roles: Iterable[Role], duty: Duty) -> bool:
    """Return whether somebody with these roles, none if nobody is signed in, may do it."""
    return duty is Duty.NONE or not MAY[duty].isdisjoint(roles)
