"""Signs for results, drawn as lines so that neither a font nor colour is needed to read them."""

from reportlab.lib.colors import Color, HexColor, white
from reportlab.pdfgen.canvas import Canvas

INK = HexColor("#14181c")
GREY = HexColor("#5b6670")
PALE = HexColor("#e9edf0")
RULE = HexColor("#b7c0c7")
GREEN = HexColor("#0b5d32")
RED = HexColor("#8e1220")
COLOUR = {"PASS": GREEN, "FAIL": RED, "NO RESULT": INK}


def sign(canvas: Canvas, result: str, x: float, y: float, size: float, colour: Color) -> None:
    """Draw a tick, a cross or a dash in the square whose lower left corner is (x, y), points."""
    canvas.saveState()
    canvas.setStrokeColor(colour)
    canvas.setLineWidth(size * 0.17)
    canvas.setLineCap(1)
    canvas.setLineJoin(1)
    path = canvas.beginPath()
    for stroke in _STROKES.get(result, _STROKES["NO RESULT"]):
        path.moveTo(x + stroke[0][0] * size, y + stroke[0][1] * size)
        for across, up in stroke[1:]:
            path.lineTo(x + across * size, y + up * size)
    canvas.drawPath(path)
    canvas.restoreState()


def result_sign(canvas: Canvas, result: str, x: float, y: float, size: float) -> None:
    """Draw a small result sign: PASS dark on light, FAIL light on a dark square, NO RESULT in a frame."""
    if result == "FAIL":
        canvas.setFillColor(RED)
        canvas.rect(x - 0.15 * size, y - 0.15 * size, 1.3 * size, 1.3 * size, stroke=0, fill=1)
        sign(canvas, result, x, y, size, white)
        return
    if result != "PASS":
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(0.5)
        canvas.rect(x - 0.1 * size, y - 0.1 * size, 1.2 * size, 1.2 * size, stroke=1, fill=0)
    sign(canvas, result, x, y, size, COLOUR.get(result, INK))


_STROKES: dict[str, list[list[tuple[float, float]]]] = {
    "PASS": [[(0.08, 0.48), (0.36, 0.14), (0.92, 0.86)]],
    "FAIL": [[(0.15, 0.15), (0.85, 0.85)], [(0.15, 0.85), (0.85, 0.15)]],
    "NO RESULT": [[(0.15, 0.5), (0.85, 0.5)]],
}
