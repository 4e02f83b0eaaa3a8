"""Plots one electrical revolution: three back-EMF waves, and under them when each sensor is high."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, isfinite, log10
from typing import Any

from station.certificate import fonts
from station.certificate.marks import GREY, INK, RULE
from station.certificate.sheet import LEFT, RIGHT, Sheet

WAVES = 70.0                     # points, height of the waves
BAR = 6.0                        # points, height of a sensor's bar
_LINES: dict[str, tuple[float, list[float]]] = {"ab": (1.1, []), "bc": (1.0, [5, 2]), "ca": (1.0, [1.2, 1.6])}
_FIRST, _LAST = LEFT + 32, RIGHT - 8


@dataclass(frozen=True, slots=True)
class _Axes:
    """From rotor angle (degrees) and V/krpm to points; `zero` is the y of 0 V/krpm."""

    zero: float
    top: float       # V/krpm at the upper edge

    def x(self, angle: float) -> float:
        return _FIRST + (_LAST - _FIRST) * angle / 360

    def y(self, volts: float) -> float:
        return self.zero + WAVES / 2 * volts / self.top


def deciding_plot(record: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """Return the plot of the capture that holds the first FAIL, else of the first capture; None without plots."""
    plots = {str(plot.get("label") or ""): plot for plot in reversed(record.get("plots") or ())}
    failed = [str(j.get("label") or "") for j in record.get("judged") or () if j.get("result") == "FAIL"]
    order = [*(label for label in failed if label in plots), *reversed(plots)]
    return plots[order[0]] if order else None


def waveform_plot(sheet: Sheet, plot: Mapping[str, Any]) -> None:
    """Draw one plot of the record: keys label, angle_deg, volts_per_krpm and hall_high."""
    waves = {line: list(values) for line, values in (plot.get("volts_per_krpm") or {}).items()}
    sensors: Mapping[str, Any] = plot.get("hall_high") or {}
    sheet.section(f"One electrical revolution, {plot.get('label') or 'capture'}: back-EMF per speed over "
                  "rotor angle, and sensors high", keep=WAVES + len(sensors) * (BAR + 2) + 24)
    peak = max((abs(v) for values in waves.values() for v in values if isfinite(v)), default=1.0)
    axes = _Axes(zero=sheet.y - 4 - WAVES / 2, top=_round_up(peak * 1.05 or 1.0))
    bottom = axes.zero - WAVES / 2
    foot = bottom - 4 - len(sensors) * (BAR + 2)
    _grid(sheet, axes, bottom, foot)
    for line, values in waves.items():
        _wave(sheet, axes, line, list(plot.get("angle_deg") or ()), values)
    for index, (sensor, interval) in enumerate(sensors.items()):
        _bar(sheet, axes, bottom - 4 - (index + 1) * (BAR + 2) + 2, sensor, interval)
    _legend(sheet, foot - 14, waves)
    sheet.y = foot - 16


def _grid(sheet: Sheet, axes: _Axes, bottom: float, foot: float) -> None:
    canvas = sheet.canvas
    canvas.setStrokeColor(RULE)
    canvas.setLineWidth(0.35)
    for angle in range(0, 361, 60):
        canvas.line(axes.x(angle), foot, axes.x(angle), axes.zero + WAVES / 2)
        sheet.text(axes.x(angle), foot - 6.5, f"{angle}°", 6, colour=GREY, align="centre")
    for share in (-1.0, -0.5, 0.0, 0.5, 1.0):
        y = axes.y(share * axes.top)
        canvas.setStrokeColor(INK if share == 0 else RULE)
        canvas.line(_FIRST, y, _LAST, y)
        sheet.text(_FIRST - 3, y - 2, f"{share * axes.top:g}".replace("-", "−"), 6, colour=GREY, align="right")
    canvas.setStrokeColor(INK)
    canvas.rect(_FIRST, bottom, _LAST - _FIRST, WAVES, stroke=1, fill=0)


def _wave(sheet: Sheet, axes: _Axes, line: str, angles: Sequence[float], values: Sequence[float]) -> None:
    canvas = sheet.canvas
    canvas.saveState()
    canvas.setStrokeColor(INK)
    width, dash = _LINES.get(line, (0.6, [3, 1]))
    canvas.setLineWidth(width)
    canvas.setDash(dash)
    path = canvas.beginPath()
    pen_down = False
    for angle, value in zip(angles, values, strict=False):
        if not isfinite(value):
            pen_down = False
            continue
        (path.lineTo if pen_down else path.moveTo)(axes.x(angle), axes.y(value))
        pen_down = True
    canvas.drawPath(path)
    canvas.restoreState()


def _bar(sheet: Sheet, axes: _Axes, y: float, sensor: str, interval: Sequence[float] | None) -> None:
    canvas = sheet.canvas
    sheet.text(_FIRST - 3, y + 1, f"Hall {sensor.upper()}", 6, font=fonts.BOLD, align="right")
    canvas.setStrokeColor(RULE)
    canvas.setLineWidth(0.5)
    canvas.line(_FIRST, y + BAR / 2, _LAST, y + BAR / 2)
    if interval is None:
        sheet.text(axes.x(180), y + 1, "no angle could be measured", 6, align="centre")
        return
    rise, fall = (angle % 360 for angle in interval)
    parts = [(rise, fall)] if rise <= fall else [(rise, 360.0), (0.0, fall)]
    canvas.setFillColor(GREY)
    for first, last in parts:
        canvas.rect(axes.x(first), y, axes.x(last) - axes.x(first), BAR, stroke=0, fill=1)


def _legend(sheet: Sheet, y: float, waves: Mapping[str, object]) -> None:
    canvas = sheet.canvas
    x = _FIRST
    for line in waves:
        width, dash = _LINES.get(line, (0.6, [3, 1]))
        canvas.saveState()
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(width)
        canvas.setDash(dash)
        canvas.line(x, y + 2, x + 24, y + 2)
        canvas.restoreState()
        sheet.text(x + 27, y, line, 6.2)
        x += 48
    sheet.text(_LAST, y, "V/krpm over rotor electrical angle; grey bar = sensor high", 6.2, colour=GREY,
               align="right")


def _round_up(peak: float) -> float:
    """Return the next of 1, 2, 3, 4, 5, 6, 8, 10 times a power of ten, for an even scale."""
    decade = 10.0 ** (ceil(log10(peak)) - 1)
    return next(step * decade for step in (1, 1.2, 1.6, 2, 3, 4, 5, 6, 8, 10.001) if step * decade >= peak)
