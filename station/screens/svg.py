"""Still charts as SVG: attributes and classes only, as the pages' policy forbids styles of their own."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from math import isfinite

from markupsafe import Markup, escape

Point = tuple[float, float]

# Marks of points, drawn from the point on: shapes tell groups apart where colours do not.
SHAPES = {"dot": "h0", "cross": "m-4-4l8 8m0-8l-8 8", "plus": "m-5 0h10m-5-5v10", "triangle": "m0-5l5 9h-10z",
          "diamond": "m0-5l5 5l-5 5l-5-5z", "square": "m-4-4h8v8h-8z"}


@dataclass(frozen=True, slots=True)
class Frame:
    """Where data lie in a drawing: `x` and `y` are the ends of the axes, the size is in user units."""

    x: Point
    y: Point
    width: float = 960.0
    height: float = 300.0
    left: float = 60.0
    bottom: float = 34.0
    top: float = 10.0
    right: float = 14.0

    def place(self, x: float, y: float) -> Point:
        """Return where a point of the data is drawn."""
        across, up = (x - self.x[0]) / (self.x[1] - self.x[0]), (y - self.y[0]) / (self.y[1] - self.y[0])
        return (self.left + across * (self.width - self.left - self.right),
                self.height - self.bottom - up * (self.height - self.bottom - self.top))


@dataclass(slots=True)
class Drawing:
    """A drawing that grows; `title` and `told` say in words what it shows."""

    frame: Frame
    title: str
    told: str
    parts: list[Markup] = field(default_factory=list)

    def line(self, points: Iterable[Point], kind: str) -> None:
        """Draw a line through the finite ones of `points` of the data; it breaks where one is not."""
        stretch: list[str] = []
        for x, y in [*points, (float("nan"), 0.0)]:
            if isfinite(x) and isfinite(y):
                px, py = self.frame.place(x, y)
                stretch.append(f"{px:.1f},{py:.1f}")
            elif stretch:
                self.parts.append(Markup('<polyline class="{}" points="{}"/>').format(kind, " ".join(stretch)))
                stretch = []

    def bar(self, corner: Point, opposite: Point, kind: str) -> None:
        """Draw a rectangle between two corners in the data."""
        (x1, y1), (x2, y2) = self.frame.place(*corner), self.frame.place(*opposite)
        self.parts.append(Markup('<rect class="{}" x="{}" y="{}" width="{}" height="{}"/>').format(
            kind, *(f"{value:.1f}" for value in (min(x1, x2), min(y1, y2), abs(x2 - x1), abs(y2 - y1)))))

    def marks(self, points: Iterable[Point], kind: str, shape: str = "dot") -> None:
        """Draw a mark at each point of the data, all of them as one path; those of one place once."""
        places = dict.fromkeys(f"M{px:.0f} {py:.0f}" for px, py in (self.frame.place(*point) for point in points))
        if places:
            path = "".join(place + SHAPES[shape] for place in places)
            self.parts.append(Markup('<path class="mark {} {}" d="{}"/>').format(shape, kind, path))

    def area(self, edge: Iterable[Point], kind: str) -> None:
        """Fill what lies within an edge in the data."""
        corners = " ".join(f"{px:.1f},{py:.1f}" for px, py in (self.frame.place(*point) for point in edge))
        self.parts.append(Markup('<polygon class="{}" points="{}"/>').format(kind, corners))

    def text(self, at: Point, words: str, kind: str = "label", anchor: str = "middle", *, down: float = 0.0) -> None:
        """Write words at a point of the data, `down` units below it."""
        x, y = self.frame.place(*at)
        self.parts.append(Markup('<text class="{}" text-anchor="{}" x="{}" y="{}">{}</text>').format(
            kind, anchor, f"{x:.1f}", f"{y + down:.1f}", words))

    def axes(self, across: Sequence[tuple[float, str]], up: Sequence[tuple[float, str]]) -> None:
        """Draw the frame with marks at places of the data and their words."""
        for x, words in across:
            self.line([(x, self.frame.y[0]), (x, self.frame.y[1])], "grid")
            self.text((x, self.frame.y[0]), words, down=16)
        for y, words in up:
            self.line([(self.frame.x[0], y), (self.frame.x[1], y)], "grid")
            px, py = self.frame.place(self.frame.x[0], y)
            self.parts.append(Markup('<text class="label" text-anchor="end" x="{}" y="{}">{}</text>').format(
                f"{px - 6:.1f}", f"{py + 4:.1f}", words))

    def markup(self) -> Markup:
        """Return the drawing for a page."""
        frame = self.frame
        return Markup('<svg class="chart" viewBox="0 0 {:g} {:g}" role="img" aria-label="{}"><title>{}</title>{}</svg>'
                      ).format(frame.width, frame.height, f"{self.title}. {self.told}", self.title,
                               Markup("").join(self.parts))


def around(values: Iterable[float | None], room: float = 0.06) -> Point:
    """Return ends of an axis that leave some room around the finite ones of `values`."""
    there = [value for value in values if value is not None and isfinite(value)]
    low, high = min(there, default=0.0), max(there, default=1.0)
    span = (high - low) or abs(high) or 1.0
    return low - room * span, high + room * span


def even_marks(low: float, high: float, wanted: int = 5) -> list[float]:
    """Return about `wanted` round numbers from `low` to `high`."""
    span = high - low
    if not (isfinite(span) and span > 0):
        return [low]
    rough = span / max(wanted - 1, 1)
    decade = 10.0 ** (len(f"{rough:.0f}") - 1) if rough >= 1 else 1.0
    while decade > rough:
        decade /= 10
    step = next(decade * each for each in (1, 2, 2.5, 5, 10) if decade * each >= rough)
    first = -(-low // step)
    return [step * n for n in range(int(first), int(high // step) + 1)]


def joined(parts: Iterable[Markup]) -> Markup:
    """Return pieces of markup one after the other; anything else among them is escaped."""
    return Markup("").join(escape(part) for part in parts)
