"""station.study.report and pages: what the study says stands on numbered pages, whole, and the same each time."""

import re
from io import BytesIO

import numpy as np
import pytest
from drawn_population import population_of, sample_of
from drawn_records import limit_line, limits_of
from pypdf import PdfReader

from station.study.pages import Column, document
from station.study.plots import index_plot
from station.study.report import type_report
from station.study.type_study import about_all, study_type

LOTS = np.repeat([0, 1, 2], 40)


@pytest.fixture(scope="module")
def whole():
    rng = np.random.default_rng(1)
    wide = [sample_of(f"hall_placement.{sensor}@forward {speed}", rng.normal(0, 1.4, 120), lower=-4, upper=4)
            for sensor in "abc" for speed in (500, 1000, 1500, 2000)]
    return study_type(population_of(
        *wide, sample_of("back_emf_unbalance@forward 1000", np.abs(rng.normal(0, 0.4, 120)), upper=2.0),
        sample_of("hall_bounce@forward 1000", rng.poisson(0.1, 120), upper=0.0), lots=LOTS, passed=100),
        limits_of([limit_line("hall_placement", -4.0, 4.0)]))


@pytest.fixture(scope="module")
def report(whole):
    return type_report(whole, [index_plot(whole)])


def texts(pdf):
    return [page.extract_text() for page in PdfReader(BytesIO(pdf)).pages]


def test_every_sentence_is_there(whole, report):
    said = " ".join(" ".join(texts(report)).split())
    for line in [*about_all(whole), *(remark.text for row in whole.rows if row.weight for remark in row.remarks)]:
        assert " ".join(line.split()) in said


def test_every_characteristic_has_its_row_with_its_index(whole, report):
    said = " ".join(texts(report))
    for row in whole.rows:
        index = row.study.index
        assert row.study.sample.key in said
        assert index is None or f"{index.value:.2f} ({index.low:.2f} to {index.high:.2f})" in said


def test_pages_are_numbered_and_name_limits_and_log(whole, report):
    pages = texts(report)
    for number, text in enumerate(pages, 1):
        assert f"page {number} of {len(pages)}" in text
        assert whole.limits.sha256[:16] in text
        assert "eol-1 120" in text


def test_same_bytes_each_time(whole, report):
    assert type_report(whole, [index_plot(whole)]) == report


def test_a_long_table_repeats_its_heads_and_loses_no_row():
    columns = (Column("name", 3), Column("number", 1, number=True))
    pdf = document("Long", "foot", lambda pages: pages.table(columns, [(f"row {k}", str(k)) for k in range(200)]))
    pages = texts(pdf)
    assert len(pages) > 2
    assert all("name" in text for text in pages)
    assert re.findall(r"row (\d+)", "\n".join(pages)) == [str(k) for k in range(200)]
