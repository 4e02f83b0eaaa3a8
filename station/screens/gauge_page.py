"""Gauge studies for the engineer: the plans, how far each has come, and what of each value's spread is the station."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from starlette.responses import Response

from station.errors import UsageError
from station.record.capture_file import make_folder, write_durably
from station.record.gauge_run import study_of
from station.record.kept_files import kept_file
from station.record.store import Store
from station.screens.access import Duty
from station.screens.apart import apart
from station.screens.ask import Ask, Page
from station.screens.drafts import named
from station.screens.gauge_charts import NAMES, components_chart, deviations_chart, runs_chart, shares_chart
from station.screens.guarding import to
from station.screens.pages import page
from station.screens.study_asked import computed, listed, whole
from station.sequence.gauge_plan import By, GaugePlan, parse_plan
from station.sequence.gauge_planning import DEFAULT_LEVELS, planned_study
from station.study.gauge_digest import GaugeDigest, Progress, progress_of, study_gauge
from station.toml_file import parse_toml, read_toml

PLANS = "gauge"         # folder beside the station file
POOL_ABOVE = 0.25       # as the command line has it, see `study.gauge`


@dataclass(frozen=True, slots=True)
class State:
    """How far a study has come, what its plan asks for, and where that plan lies if it was made here."""

    progress: Progress
    plan: GaugePlan | None
    file: str


def _list(ask: Ask) -> Response:
    """Show every study, and ask for the plan of another."""
    with ask.site.store() as store:
        states = [_state(ask, store, name) for name in _names(ask, store)]
    return page(ask, "gauge_list.html", states=list(reversed(states)), by_ways=list(DEFAULT_LEVELS))


def _plan(ask: Ask) -> Response:
    """Draw the plan of a study and keep it, never over another."""
    name, by = ask.given("study", 60), _by(ask.given("by", 20))
    path = _folder(ask) / named(f"{name}.toml")
    levels = [part.strip() for part in ask.given("levels", 400).split(",") if part.strip()]
    text, plan = planned_study(ask.site.station, name, by, levels, listed(ask.given("motors", 2000)),
                               whole(ask.given("repeats", 3), "repeats"), whole(ask.given("seed", 9), "seed"),
                               path.name)
    with ask.site.store() as store:
        if path.exists() or name in _names(ask, store):
            raise UsageError("there is a study of that name", where=name, expected="another name", got=name,
                             remedy="A plan is never changed: its order was drawn. Choose another name.")
    make_folder(path.parent)
    write_durably(path, text.encode())
    ask.site.trail.add(ask.name, "plan gauge study", where=ask.where, about=f"{name}, SHA-256 {plan.sha256}")
    return to(f"/studies/gauge/{name}")


def _one(ask: Ask) -> Response:
    """Show how far a study has come, and its report once it is complete."""
    name, without = ask.path("name"), listed(ask.given("without", 2000))
    with ask.site.store() as store:
        if name not in _names(ask, store):
            raise UsageError("no such gauge study", where="studies", expected="one of the list", got=name[:80],
                             remedy="Follow a link of the list.")
        state = _state(ask, store, name)
    if state.progress.state != "complete":
        return page(ask, "gauge_one.html", state=state, report=None, chart=None, without=without)
    report = _report(ask, name, without)
    if isinstance(report, Response):
        return report
    return page(ask, "gauge_one.html", state=state, report=report.said, chart=shares_chart(report.said["values"]),
                without=without)


def _value(ask: Ask) -> Response:
    """Show the whole analysis of one value of a study."""
    name, without, key = ask.path("name"), listed(ask.given("without", 2000)), ask.given("key", 120)
    report = _report(ask, name, without)
    if isinstance(report, Response):
        return report
    if key not in report.values:
        raise UsageError("this value was not studied", where=f"gauge study {name}", expected="a limited value that "
                         "every run has", got=key, remedy="Follow a link of the study.")
    told, values, said = report.told(key), report.values[key], report.said
    charts = [make(told, values, said["motors"], said["levels"]) for make in (runs_chart, deviations_chart)]
    return page(ask, "gauge_value.html", name=name, told=told, said=said, without=without,
                charts=[*charts, components_chart(told)], shares=_shares(told), names=NAMES)


def _report(ask: Ask, name: str, without: tuple[str, ...]) -> GaugeDigest | Response:
    with ask.site.store() as store:
        size = len(store.log)
    folder = ask.site.station.store
    found: GaugeDigest | Response = computed(
        ask, f"gauge study {name}, {size} entries, without {' '.join(without) or 'none'}",
        lambda: apart(study_gauge, folder, name, without, POOL_ABOVE))
    return found


def _state(ask: Ask, store: Store, name: str) -> State:
    progress, path = progress_of(store, name), _folder(ask) / f"{name}.toml"
    if progress.plan_sha256:
        kept = kept_file(store.folder, progress.plan_sha256)
        return State(progress, parse_plan(parse_toml(kept, f"plan of gauge study {name}")), "")
    return State(progress, parse_plan(read_toml(path)), f"{PLANS}/{path.name}")


def _names(ask: Ask, store: Store) -> list[str]:
    """Return the names of all studies: planned here, or begun, that begun last at the end."""
    begun = [name for purpose in store.purposes() if (name := study_of(purpose)) is not None]
    planned = sorted(path.stem for path in _folder(ask).glob("*.toml"))
    return [*begun, *(name for name in planned if name not in begun)]


def _folder(ask: Ask) -> Path:
    return ask.site.station.folder / PLANS


def _by(text: str) -> By:
    found = next((by for by in DEFAULT_LEVELS if by == text), None)
    if found is None:
        raise UsageError("nothing stands for the operator so", where="by", expected=" or ".join(DEFAULT_LEVELS),
                         got=text, remedy="Choose one from the list.")
    return found


def _shares(told: Mapping[str, Any]) -> dict[str, float]:
    """Return the share of the variance of each component, in percent."""
    total = told["components"]["total"]["variance"] or 0.0
    return {name: 100 * (one["variance"] or 0.0) / total if total else np.nan
            for name, one in told["components"].items()}


PAGES = (
    Page("/studies/gauge", Duty.DRAFT, _list),
    Page("/studies/gauge", Duty.DRAFT, _plan, post=True),
    Page("/studies/gauge/{name}", Duty.DRAFT, _one),
    Page("/studies/gauge/{name}/value", Duty.DRAFT, _value),
)
