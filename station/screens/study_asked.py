"""What the address of a study page asks for, and the study that answers it: computed once, beside all else."""

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlencode

from starlette.responses import Response

from station.clock import stamp
from station.errors import UsageError
from station.screens.apart import apart
from station.screens.ask import Ask
from station.screens.background import Outcome
from station.screens.guarding import to
from station.screens.pages import page
from station.study.choice import Choice
from station.study.type_digest import TypeDigest, study_chosen
from station.study.wide_table import kept_tables

HEXADECIMAL = re.compile(r"[0-9a-f]{0,64}")
MANY = 2000         # tests whose table takes 10 s to make anew: such a study begins with those gathered last
MOST = 200          # motors named one by one
OF_TESTS = ("type", "sequence", "limits", "since", "until", "runs", "trusted", "without", "entries")


@dataclass(frozen=True, slots=True)
class Asked:
    """Which tests are studied. With `choice.entries` in it, an address finds the same tests whenever it is opened."""

    motor_type: str
    sequence: str
    choice: Choice

    @property
    def parts(self) -> list[tuple[str, str]]:
        """The same as fields of a form, always in the same order; what is not asked for is left out."""
        of = self.choice
        texts = (self.motor_type, self.sequence, of.limits, of.since, of.until, "every" if of.every_run else "",
                 "yes" if of.trusted else "", " ".join(of.without), "" if of.entries is None else str(of.entries))
        return [(name, text) for name, text in zip(OF_TESTS, texts, strict=True) if text]

    @property
    def query(self) -> str:
        """The same as the query of an address."""
        return urlencode(self.parts)

    def link(self, name: str, **more: str) -> str:
        """Return the address of another page on the same tests."""
        return f"/studies/{name}?{self.query}" + "".join(f"&{key}={quote(text, safe='')}" for key, text in more.items())

    def narrowed(self, **more: Any) -> "Asked":  # noqa: ANN401 - parts of a choice
        """Return the same with another choice."""
        return replace(self, choice=replace(self.choice, **more))


def asked_of(ask: Ask) -> Asked:
    """Return what the address asks for.

    Raises
    ------
    UsageError
        A part of it cannot be.
    """
    limits, serials = ask.given("limits", 64).lower(), listed(ask.given("without", 4000))
    if not HEXADECIMAL.fullmatch(limits):
        raise UsageError("that is no hash of a limit file", where="limits", expected="the SHA-256, or how it begins",
                         got=limits, remedy="Follow a link of the study, or leave it empty.")
    choice = Choice(ask.given("since", 20), ask.given("until", 20), limits, ask.given("runs", 10) == "every",
                    ask.given("trusted", 10) == "yes", serials, _entries(ask))
    return Asked(ask.given("type", 80), ask.given("sequence", 80), choice)


def studied(ask: Ask, asked: Asked) -> TypeDigest | Response:
    """Return the study asked for, or what is shown until it is there; errors as of `study_chosen`."""
    with ask.site.store() as store:
        size, types = len(store.log), store.motor_types()
    station = ask.site.station
    if asked.motor_type not in types:
        raise UsageError("no tests of such a motor type", where="studies", expected=", ".join(types) or "tests first",
                         got=asked.motor_type or "none", remedy="Choose one from the list.")
    if asked.choice.entries is None:
        here = ask.request.url.path.removeprefix("/studies/")
        more = {name: text for name, text in ask.request.query_params.items() if name not in OF_TESTS}
        return to(asked.narrowed(entries=_gathered(station.store, asked) or size).link(here, **more))
    pattern = station.lot_pattern_of(asked.motor_type)
    found: TypeDigest | Response = computed(ask, f"study {asked.query}", lambda: apart(
        study_chosen, station.store, asked.motor_type, asked.sequence, pattern, asked.choice))
    return found


def computed(ask: Ask, key: str, work: Callable[[], Any]) -> Any:  # noqa: ANN401 - whatever `work` makes
    """Return what `work` makes, or a page that waits for it, or for what is being computed before it.

    What failed is raised once, and begun anew when it is asked for again.
    """
    studies = ask.site.studies
    outcome = studies.outcome(key)
    if outcome is None:
        before = studies.running()
        if before is not None:
            return _waiting(ask, before)
        studies.start(key, work, who=ask.name, at=stamp(ask.site.clock.utc()))
        outcome = studies.outcome(key)
    if outcome is None or outcome.is_running:
        return _waiting(ask, outcome)
    if outcome.error is not None:
        studies.forget(key)
        raise outcome.error
    return outcome.result


def listed(text: str) -> tuple[str, ...]:
    """Return the serial numbers in a text, each once; commas, semicolons and blanks part them.

    Raises
    ------
    UsageError
        There are more than MOST.
    """
    serials = tuple(dict.fromkeys(part for part in re.split(r"[\s,;]+", text) if part))
    if len(serials) > MOST:
        raise UsageError("too many motors named", where="motors", expected=f"at most {MOST}", got=len(serials),
                         remedy="Choose by date, or by limit file.")
    return serials


def whole(text: str, where: str) -> int:
    """Return a number as an address has it, or raise UsageError."""
    if not (text.isascii() and text.isdecimal()):
        raise UsageError("that is no number", where=where, expected="digits", got=text,
                         remedy="Follow a link of a page.")
    return int(text)


def _gathered(store: Path, asked: Asked) -> int:
    """Return the size of the log when so many tests were last gathered that nobody waits for it again; 0 for fewer."""
    files = [file for file in kept_tables(store, asked.motor_type)
             if asked.sequence in ("", file.about.sequence_revision) and file.rows >= MANY]
    return files[0].about.log_size if len(files) == 1 else 0


def _entries(ask: Ask) -> int | None:
    text = ask.given("entries", 12)
    return whole(text, "entries") if text else None


def _waiting(ask: Ask, running: Outcome | None) -> Response:
    return page(ask, "study_waiting.html", running=running)
