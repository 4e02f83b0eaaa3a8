"""station.study.plots and picture: same bytes each time, readable as what they say, however the machine is set."""

import xml.etree.ElementTree as ET
from io import BytesIO

import matplotlib as mpl
import numpy as np
import pytest
from drawn_population import population_of, sample_of
from drawn_records import limit_line, limits_of
from PIL import Image

from station.study.plots import correlation_plot, distribution_plot, index_plot
from station.study.type_study import study_type

LOTS = np.repeat([0, 1, 2], 20)


@pytest.fixture(scope="module")
def whole():
    rng = np.random.default_rng(1)
    return study_type(population_of(
        sample_of("hall_placement.b@forward 1000", rng.normal(0, 0.5, 60), lower=-4, upper=4),
        sample_of("back_emf_unbalance@forward 1000", np.abs(rng.normal(0, 0.4, 60)), upper=2.0),
        sample_of("hall_low.a@forward 1000", np.full(60, 0.1), upper=0.5),
        sample_of("hall_bounce@forward 1000", rng.poisson(0.1, 60), upper=0.0), lots=LOTS),
        limits_of([limit_line("hall_placement", -4.0, 4.0)]))


def test_every_kind_of_characteristic_has_a_plot(whole):
    for row in whole.rows:
        picture = distribution_plot(whole, row)
        assert ET.fromstring(picture.svg).tag.endswith("svg")
        with Image.open(BytesIO(picture.png)) as image:
            assert image.width > 2 * image.height
    assert {distribution_plot(whole, row).name for row in whole.rows} >= {"type-hall-placement.b-forward-1000"}


def test_same_bytes_each_time_and_whatever_the_machine_is_set_to(whole):
    row = whole.rows[0]
    one = distribution_plot(whole, row)
    with mpl.rc_context({"font.size": 20, "axes.facecolor": "black", "svg.hashsalt": "other"}):
        assert distribution_plot(whole, row) == one


def test_nothing_tells_when_it_was_made(whole):
    picture = index_plot(whole)
    assert b"<dc:date>" not in picture.svg
    assert b"Matplotlib v" not in picture.svg
    with Image.open(BytesIO(picture.png)) as image:
        assert "Software" not in image.info


def test_limits_are_seen_in_their_colour(whole):
    row = next(row for row in whole.rows if row.study.sample.name == "hall_placement.b")
    with Image.open(BytesIO(distribution_plot(whole, row).png)) as image:
        pixels = np.asarray(image.convert("RGB")).astype(int)
    red = pixels[:, :, 0] - pixels[:, :, 1] > 40        # the thin line is half of its colour, half white
    left = red[:, : red.shape[1] // 2]
    assert np.sum(left.sum(axis=0) > 0.4 * red.shape[0]) >= 2       # two upright lines beside the histogram


def test_matrix_needs_two(whole):
    assert correlation_plot(whole.correlation).name == "type-correlation"
    alone = study_type(population_of(sample_of("thd.ab@forward 1000", np.arange(1, 61.0))), whole.limits)
    assert correlation_plot(alone.correlation) is None
