"""Moves of the edges in the table of torque against a table made anew with the edges moved."""

from dataclasses import dataclass, replace

import numpy as np
import pytest

from station.analysis.hall_codes import CodeInterval
from station.analysis.six_steps import six_steps

TABLE = {(1, 0, 1): (0, 1), (1, 0, 0): (2, -1), (1, 1, 0): (1, 1), (0, 1, 0): (0, -1), (0, 1, 1): (2, 1),
         (0, 0, 1): (1, -1)}
CYCLE = ((1, 0, 0), (1, 1, 0), (0, 1, 0), (0, 1, 1), (0, 0, 1), (1, 0, 1))
STARTS = (128.0, 183.0, 246.0, 301.0, 5.0, 68.0)    # out of place, so that crest and trough are no ties


@dataclass(frozen=True)
class Sine:
    """Unit sines with b and c lagging, and a fifth harmonic."""

    amplitude = np.array([[1.0, 0, 0, 0, 0.05]] * 3)
    phase = -np.outer([0.0, 1.0, 2.0], np.arange(1, 6)) * 2 * np.pi / 3


def codes(starts=STARTS):
    widths = np.diff([*starts, starts[0] + 360.0]) % 360.0
    return [CodeInterval(code, start, float(width)) for code, start, width in zip(CYCLE, starts, widths, strict=True)]


def made(starts=STARTS):
    return six_steps(Sine(), codes(starts), TABLE)


def test_mean_and_ripple_are_those_of_the_wave():
    """Source: six-step torque of a sine, 3/pi of the peak with 14.03 % ripple (derived)."""
    plain = replace_amplitude([1.0, 0, 0, 0, 0])
    torque = six_steps(plain, codes((120.0, 180.0, 240.0, 300.0, 0.0, 60.0)), TABLE).torque()
    assert torque.mean == pytest.approx(3 / np.pi, rel=1e-4)
    assert torque.ripple == pytest.approx(0.14030, abs=2e-5)


def replace_amplitude(harmonics):
    class Changed(Sine):
        amplitude = np.array([harmonics] * 3)
    return Changed()


@pytest.mark.parametrize("edge", range(6))
def test_moved_edge_is_what_a_new_table_says(edge):
    by = 0.3
    starts = list(STARTS)
    starts[edge] += by
    new, found = made(starts).torque(), made().moved([by])[0][edge]
    assert found.mean == pytest.approx(new.mean, rel=2e-5)
    assert found.ripple == pytest.approx(new.ripple, abs=2e-4)


@pytest.mark.parametrize("by", [-0.2, 0.2])
def test_turned_board_is_what_a_new_table_says(by):
    new, found = made([start + by for start in STARTS]).torque(), made().turned(by)
    assert found.mean == pytest.approx(new.mean, rel=2e-5)
    assert found.ripple == pytest.approx(new.ripple, abs=2e-4)


def test_an_interval_of_no_width_counts_for_nothing():
    steps = made()
    empty = replace(steps, width=np.where(np.arange(6) == 2, 0.0, steps.width), wave=np.where(
        np.arange(6)[:, None] == 2, 99.0, steps.wave))
    assert empty.torque().ripple * abs(empty.torque().mean) < 2.0
    assert empty.moved([0.2])[0][0].ripple < 2.0


def test_a_code_without_a_line_gives_no_torque():
    steps = six_steps(Sine(), codes(), {code: pair for code, pair in TABLE.items() if code != (1, 1, 0)})
    assert (steps.wave[1] == 0.0).all()
    assert abs(steps.wave[0]).min() > 0.5
