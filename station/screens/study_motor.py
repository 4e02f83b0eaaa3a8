"""One motor of a study beside all others: its waves within what theirs lie in."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from starlette.responses import Response

from station.errors import UsageError
from station.screens.access import Duty
from station.screens.apart import apart
from station.screens.ask import Ask, Page
from station.screens.pages import page
from station.screens.still_charts import Chart
from station.screens.study_asked import asked_of, computed, studied, whole
from station.screens.svg import Drawing, Frame, even_marks
from station.study.wave_envelope import Envelope, envelope, evenly_drawn

EVERY = 30          # degrees between the rows of the table


def _motor(ask: Ask) -> Response:
    asked = asked_of(ask)
    study = studied(ask, asked)
    if isinstance(study, Response):
        return study
    record = _record(ask, ask.given("serial", 80), whole(ask.given("run", 6) or "1", "run"))
    drawn = [(study.serials[place], study.runs[place]) for place in evenly_drawn(len(study.serials))]
    found = computed(ask, f"waves of {asked.query}", lambda: apart(envelope, ask.site.station.store, drawn))
    if isinstance(found, Response):
        return found
    labels = [plot["label"] for plot in record["plots"]]
    label = ask.given("capture", 80) or (labels[0] if labels else "")
    plot = next((plot for plot in record["plots"] if plot["label"] == label), None)
    charts = [] if found is None or plot is None else [
        (line, chart) for line in plot["volts_per_krpm"] if (label, line) in found.edges
        and (chart := wave_chart(plot, line, found)) is not None]
    return page(ask, "study_motor.html", asked=asked, record=record, labels=labels, label=label, charts=charts,
                motors=found.motors if found else 0)


def wave_chart(plot: Mapping[str, Any], line: str, others: Envelope) -> Chart | None:
    """Return how far the wave of one line is from the median of the others, over the band that nine tenths lie in.

    The waves themselves are too much alike to be told apart; they stand in the table. None where the angles differ.
    """
    if plot["angle_deg"] != others.angles.tolist():
        return None
    low, middle, high = others.edges[plot["label"], line]
    wave = np.array(plot["volts_per_krpm"][line])
    away = [(edge - middle).tolist() for edge in (wave, low, high)]
    top = 1.08 * max(abs(volts) for each in away for volts in each) or 1.0
    angles: list[float] = plot["angle_deg"]
    drawing = Drawing(Frame((0.0, 360.0), (-top, top), height=260.0), f"Line {line}, {plot['label']}, less the median",
                      "Back-EMF per speed less the median of all, V per 1000 r/min, over rotor angle in degrees: this "
                      "motor as a line, and the band from the 5 to the 95 % of all.")
    drawing.axes([(angle, f"{angle:g}°") for angle in range(0, 361, 60)],
                 [(volts, f"{volts:g}") for volts in even_marks(-top, top)])
    drawing.area([*zip(angles, away[1], strict=True), *zip(reversed(angles), reversed(away[2]), strict=True)], "band")
    drawing.line(zip(angles, away[0], strict=True), "wave ab own")
    rows = tuple((f"{angle:g}°", *(f"{float(volts):.4g}" for volts in each))
                 for angle, *each in zip(angles, wave, low, middle, high, strict=True) if angle % EVERY == 0)
    return Chart(drawing.markup(), ("angle", "this motor, V/krpm", "5 %", "median", "95 %"), rows)


def _record(ask: Ask, serial: str, run: int) -> Mapping[str, Any]:
    with ask.site.store() as store:
        found = [record for record in store.show(serial) if record["run"] == run]
    if not found:
        raise UsageError("no such test", where="motor", expected="serial number and run of a stored test",
                         got=f"{serial}, run {run}", remedy="Follow a link of the study.")
    return found[0]


PAGES = (Page("/studies/motor", Duty.DRAFT, _motor),)
