"""Copper resistance against temperature."""

import pytest

from station.analysis.winding import at_temperature, phase_resistances


@pytest.mark.parametrize(("constant", "ratio"), [
    pytest.param(235.0, 1.313725, id="k 235: IEC 60034-1, from memory"),
    pytest.param(234.5, 1.314342, id="k 234.5: electrical-engineering-portal.com temperature-rise"),
])
def test_from_20_to_100(constant, ratio):
    assert at_temperature(1.0, 20.0, 100.0, constant) == pytest.approx(ratio, abs=1e-6)


@pytest.mark.parametrize(("constant", "expected"), [(235.0, 0.561981), (234.5, 0.561960)])
def test_catalogue_winding_brought_to_20(constant, expected):
    """Source: 0.573 ohm at 25 degC, catalogue page online.flippingbook.com/view/1042987/324; the rest derived."""
    assert at_temperature(0.573, 25.0, 20.0, constant) == pytest.approx(expected, abs=1e-6)


def test_star_phases_from_lines():
    """Source: derived; a 0.3, b 0.2, c 0.25 ohm."""
    found = phase_resistances({"ab": 0.5, "bc": 0.45, "ca": 0.55})
    assert found == pytest.approx({"a": 0.3, "b": 0.2, "c": 0.25})


@pytest.mark.parametrize(("winding", "line_over_phase"), [("star", 2.0), ("delta", 2 / 3)])
def test_equal_phases_from_lines(winding, line_over_phase):
    """Source: common practice, no source: two phases in series in a star, one beside two in a delta."""
    found = phase_resistances(dict.fromkeys(("ab", "bc", "ca"), 0.3 * line_over_phase), winding)
    assert list(found.values()) == pytest.approx([0.3] * 3)
