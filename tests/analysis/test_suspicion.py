"""What a failed limit allows to be explained, and what remains without limits."""

import pytest

from station.analysis.suspicion import suspicion

LINES = ("ab", "bc", "ca")


def test_without_limits_the_caller_decides():
    known = suspicion(None)
    assert not known.is_judged
    assert known.any("thd", unjudged=True)
    assert not known.any("thd", unjudged=False)


def test_with_limits_only_what_failed_is_suspected():
    known = suspicion({"hall_placement.b@forward 1500": "high"})
    assert known.is_judged
    assert known.any("hall_placement", unjudged=False)
    assert known.any("hall_placement.b", unjudged=False)
    assert not known.any("hall_placement.a", unjudged=True)
    assert not known.any("hall_place", unjudged=True)


def test_sides_of_all_captures_are_kept():
    known = suspicion({"thd.ab@forward 1500": "high", "thd.ab@reverse 1500": "low"})
    assert known.sides == {"thd.ab": {"high", "low"}}


@pytest.mark.parametrize(("failed", "every", "some"), [
    ({"flux_linkage.ab": "low"}, None, "low"), ({f"flux_linkage.{line}": "low" for line in LINES}, "low", "low"),
    ({"flux_linkage.ab": "low", "flux_linkage.bc": "high"}, None, None), ({"flux_linkage": "high"}, "high", "high"),
])
def test_side_on_which_lines_failed(failed, every, some):
    assert suspicion(failed).side_of("flux_linkage", LINES, every=True) == every
    assert suspicion(failed).side_of("flux_linkage", LINES, every=False) == some


def test_middle_of_the_limits():
    known = suspicion({}, {"thd.ab": (None, 5.0), "winding_resistance.bc": (0.9, 1.1)})
    assert known.over_middle(1.2, "winding_resistance.ab", "winding_resistance.bc") == pytest.approx(1.2)
    assert known.over_middle(1.2, "thd.ab") != known.over_middle(1.2, "thd.ab")   # nan: there is no middle
    assert known.limits("thd.ab")[1] == 5.0
