"""The still charts of one test: an electrical revolution with sensors and codes, harmonics, what each pole gives."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from markupsafe import Markup

from station.analysis.analyse import fit_capture
from station.capture import Capture
from station.measurement import Refusal
from station.motor import LINES, MotorType
from station.screens.svg import Drawing, Frame, even_marks

LAST_ORDER = 25
SHARE_OF_BARS = 0.3         # of the height: the sensors' bars below the waves


@dataclass(frozen=True, slots=True)
class Chart:
    """A drawing and the same as a table, for those who do not see it: heads and rows of text."""

    drawing: Markup
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def revolution_chart(plot: Mapping[str, Any] | None, beside: Mapping[str, Any] | None) -> Chart | None:
    """Return one electrical revolution as the record holds it, with the codes of the sensors; None without a plot.

    `beside` is that of another motor, drawn with broken lines.
    """
    if plot is None:
        return None
    waves = [wave for each in (plot, beside or plot) for wave in each["volts_per_krpm"].values()]
    top = 1.08 * max(abs(volts) for wave in waves for volts in wave)
    low = -top - 2 * top * SHARE_OF_BARS
    drawing = Drawing(Frame((0.0, 360.0), (low, top), height=360.0), f"One electrical revolution, {plot['label']}",
                      "Back-EMF per speed, V per 1000 r/min, over rotor angle in degrees; bars where sensors are high.")
    drawing.axes([(angle, f"{angle:g}°") for angle in range(0, 361, 60)],
                 [(v, f"{v:g}") for v in even_marks(-top, top)])
    for each, kind in ((beside, "beside"), (plot, "own")):
        for line, wave in (each["volts_per_krpm"] if each else {}).items():
            drawing.line(zip(each["angle_deg"], wave, strict=True) if each else (), f"wave {line} {kind}")
    for line, wave in plot["volts_per_krpm"].items():
        at = max(range(len(wave)), key=lambda n: wave[n])
        drawing.text((plot["angle_deg"][at], wave[at]), line, "name", down=-4)
    _sensors(drawing, plot.get("hall_high") or {}, -top, low)
    rows = [(f"Hall {sensor}", "–", "–") if not ends else (f"Hall {sensor}", f"{ends[0]:.2f}°", f"{ends[1]:.2f}°")
            for sensor, ends in (plot.get("hall_high") or {}).items()]
    return Chart(drawing.markup(), ("", "rise", "fall"), tuple(rows))


def _sensors(drawing: Drawing, high: Mapping[str, Sequence[float] | None], top: float, low: float) -> None:
    """Draw a bar where each sensor is high, and the codes between their edges."""
    if not high:
        return
    row = (top - low) / (len(high) + 1.5)
    edges = {0.0, 360.0}
    for place, (sensor, ends) in enumerate(high.items(), 1):
        middle = top - place * row
        drawing.text((0.0, middle), f"Hall {sensor.upper()}", "label", "end", down=4)
        for first, last in _arcs(ends):
            drawing.bar((first, middle - 0.3 * row), (last, middle + 0.3 * row), "high")
            edges |= {first, last}
    places = sorted(edges)
    for first, last in pairwise(places):
        code = "".join(str(int(any(a <= (first + last) / 2 < b for a, b in _arcs(ends)))) for ends in high.values())
        if last - first > 12:
            drawing.text(((first + last) / 2, low + 0.25 * row), code, "name")


def _arcs(ends: Sequence[float] | None) -> list[tuple[float, float]]:
    """Return the stretches between 0 and 360 degrees in which a sensor is high."""
    if not ends:
        return []
    rise, fall = (angle % 360 for angle in ends)
    return [(rise, fall)] if rise <= fall else [(0.0, fall), (rise, 360.0)]


def harmonics_chart(record: Mapping[str, Any], label: str) -> Chart | None:
    """Return the harmonics of the lines in one capture, % of the fundamental; None where none were measured."""
    found = {(m["name"], m["label"]): m["value"] for m in record["measurements"]}
    sizes = {line: [found.get((f"harmonic_{order}.{line}", label)) for order in range(2, LAST_ORDER + 1)]
             for line in LINES}
    values = [value for each in sizes.values() for value in each if value is not None]
    if not values:
        return None
    top = 1.1 * max(*values, 1e-3)
    drawing = Drawing(Frame((1.4, LAST_ORDER + 0.6), (0.0, top)), f"Harmonics, {label}",
                      "Share of the fundamental in percent, by order, three bars for the lines ab, bc and ca.")
    drawing.axes([(order, str(order)) for order in range(2, LAST_ORDER + 1)],
                 [(v, f"{v:g} %") for v in even_marks(0.0, top)])
    for place, line in enumerate(LINES):
        for order, value in enumerate(sizes[line], 2):
            if value is not None:
                left = order - 0.36 + 0.24 * place
                drawing.bar((left, 0.0), (left + 0.22, value), f"wave {line}")
    rows = tuple((str(order), *(_text(sizes[line][order - 2]) for line in LINES)) for order in range(2, LAST_ORDER + 1))
    return Chart(drawing.markup(), ("order", *LINES), rows)


def poles_chart(capture: Capture, motor_type: MotorType) -> Chart | Refusal:
    """Return what each pole turns over in each line, % of the mean, or why the capture was refused."""
    fitted = fit_capture(capture, motor_type)
    if isinstance(fitted, Refusal):
        return fitted
    gains = 100.0 * (fitted.pole_gains - 1.0)
    most = max(1.15 * float(abs(gains).max()), 0.5)
    poles = gains.shape[1]
    drawing = Drawing(Frame((0.4, poles + 0.6), (-most, most)), f"Poles, {capture.label}",
                      "Flux of each half cycle against the mean of its line, in percent.")
    drawing.axes([(pole, str(pole)) for pole in range(1, poles + 1)],
                 [(share, f"{share:+g} %") for share in even_marks(-most, most)])
    for place, (line, each) in enumerate(zip(LINES, gains.tolist(), strict=True)):
        for pole, gain in enumerate(each, 1):
            left = pole - 0.36 + 0.24 * place
            drawing.bar((left, 0.0), (left + 0.22, gain), f"wave {line}")
    rows = tuple((str(pole + 1), *(f"{gains[line, pole]:+.3f}" for line in range(len(LINES)))) for pole in range(poles))
    return Chart(drawing.markup(), ("pole", *LINES), rows)


def _text(value: float | None) -> str:
    return "–" if value is None else f"{value:.3g}"


