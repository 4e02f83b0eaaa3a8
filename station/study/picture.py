"""How plots look and are written: the house style, SVG and PNG; one plot gives the same bytes with one library."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO

from matplotlib import style
from matplotlib.figure import Figure

INK, GREY, PALE, RED = "#14181c", "#5b6670", "#c9d3da", "#8e1220"     # as on certificates
GROUPS = ("#14181c", "#1c6e9c", "#b06a00", "#5f7d3a", "#7b4a86")      # told apart by marks as well
MARKS = "osD^vPX"
DPI = 110
_STYLE = {"svg.hashsalt": "station", "svg.fonttype": "path", "font.family": "DejaVu Sans", "font.size": 8.0,
          "axes.spines.top": False, "axes.spines.right": False, "axes.edgecolor": GREY, "axes.linewidth": 0.6}


@dataclass(frozen=True, slots=True)
class Picture:
    """A plot in both forms, and the name of its files without ending."""

    name: str
    svg: bytes
    png: bytes


@contextmanager
def house_figure(width: float, height: float) -> Iterator[Figure]:
    """Open a figure of a size in inches, in the house's style whatever the machine is set to."""
    with style.context(_STYLE, after_reset=True):
        yield Figure(figsize=(width, height), layout="constrained")


def picture(name: str, figure: Figure) -> Picture:
    """Return a figure as files; nothing in them tells when or where they were made."""
    svg, png = BytesIO(), BytesIO()
    figure.savefig(svg, format="svg", metadata={"Date": None, "Creator": None})
    figure.savefig(png, format="png", dpi=DPI, metadata={"Software": None})
    return Picture(name, svg.getvalue(), png.getvalue())


def plain_name(key: str) -> str:
    """Return a key as part of a file's name."""
    return re.sub(r"[^A-Za-z0-9.]+", "-", key).strip("-")
