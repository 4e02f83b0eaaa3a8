"""station.certificate.waveform_plot: sensors stand under the waves on the same angle axis."""

from io import BytesIO

import pytest
from pypdf import PdfReader

from station.certificate.render import render_certificate
from station.certificate.waveform_plot import BAR, WAVES, deciding_plot


def _boxes(record, height):
    """Return (left, right) of every box of the given height on the first page, points."""
    contents = PdfReader(BytesIO(render_certificate(record))).pages[0].get_contents()
    boxes = [[float(n) for n in numbers] for numbers, operator in contents.operations if operator == b"re"]
    return [(box[0], box[0] + box[2]) for box in boxes if box[3] == pytest.approx(height)]


def _with_hall(record, hall):
    return record | {"plots": [record["plots"][0] | {"hall_high": hall}]}


@pytest.mark.parametrize(("interval", "parts"), [
    pytest.param([0.0, 180.0], [(0, 180)], id="half"),
    pytest.param([119.0, 301.5], [(119, 301.5)], id="inside"),
    pytest.param([240.0, 60.0], [(240, 360), (0, 60)], id="round the end"),
    pytest.param([-30.0, 150.0], [(330, 360), (0, 150)], id="negative"),
    pytest.param(None, [], id="dead sensor"),
])
def test_bar_lies_at_its_angles(record, interval, parts):
    changed = _with_hall(record, {"a": interval})
    ((left, right),) = _boxes(changed, WAVES)
    expected = [tuple(left + (right - left) * angle / 360 for angle in part) for part in parts]
    assert sorted(_boxes(changed, BAR)) == [pytest.approx(e, abs=0.01) for e in sorted(expected)]


def test_flat_or_absent_waves_still_print(record, pages):
    plot = record["plots"][0]
    flat = plot | {"volts_per_krpm": {"ab": [0.0] * len(plot["angle_deg"])}}
    assert "One electrical revolution" in pages(record | {"plots": [flat]})[0]
    assert "One electrical revolution" in pages(record | {"plots": [plot | {"volts_per_krpm": {}}]})[0]
    assert "One electrical revolution" not in pages(record | {"plots": []})[0]


@pytest.mark.parametrize(("failing", "shown"), [
    pytest.param([], "forward 750", id="a good motor: the first capture"),
    pytest.param([("thd.ab", "reverse 750"), ("thd.ab", "reverse 1500")], "reverse 750", id="the first that fails"),
    pytest.param([("insulation_resistance", ""), ("thd.ab", "reverse 1500")], "reverse 1500", id="not one at rest"),
    pytest.param([("thd.ab", "forward 9000")], "forward 750", id="a capture without a plot"),
])
def test_plot_is_of_the_capture_that_decided(record, pages, failing, shown):
    plots = [record["plots"][0] | {"label": label}
             for label in ("forward 750", "forward 1500", "reverse 750", "reverse 1500")]
    judged = [record["judged"][0] | {"name": name, "label": label, "result": "FAIL"} for name, label in failing]
    changed = record | {"plots": plots, "judged": [*record["judged"], *judged],
                        "verdict": "FAIL" if failing else "PASS"}
    assert deciding_plot(changed)["label"] == shown
    assert f"One electrical revolution, {shown}:" in " ".join(pages(changed)[0].split())
