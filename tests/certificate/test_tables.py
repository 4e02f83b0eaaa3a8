"""station.certificate.tables: every measurement stands in its row with value, uncertainty, limits and result."""

from io import BytesIO

import pytest
from pypdf import PdfReader

from station.certificate.rows import judged_rows, other_rows

FIELD_OF_A_FAIL = 6.0    # points, at least the height of the dark field of a failing value


@pytest.fixture
def names(full_record):
    return {m["name"] for m in full_record["measurements"]}


def _texts(line):
    return " ".join(word.text for word in line)


def test_judged_value_stands_in_its_row_with_uncertainty_and_result(full_record, full_words, names, printed):
    for row in judged_rows(full_record):
        line = _texts(printed.line_of(full_words, row.name, names))
        shown = " ".join(f"{cell.value} {cell.result}" for cell in row.cells.values())
        assert line.startswith(f"{row.unit} {row.tolerance} ".strip()), row.name
        assert line.endswith(shown), row.name


def test_acceptance_limits_stand_once_or_under_each_value(full_record, full_words, names, printed):
    once = 0
    for row in judged_rows(full_record):
        line = _texts(printed.line_of(full_words, row.name, names))
        shared = row.acceptance(row.cells)
        if shared is not None:
            once += 1
            assert f"{row.tolerance} {shared} " in line, row.name
            continue
        assert f"{row.tolerance} under the value " in line
        (name,) = [w for w in full_words if w.text == row.name and w.left < 40]
        under = sorted((w for w in full_words if w.page == name.page and 3 < w.top - name.top < 8.5 and w.left > 260),
                       key=lambda w: w.left)
        assert _texts(under).startswith(" ".join(cell.acceptance for cell in row.cells.values())), row.name
    assert 10 < once < len(judged_rows(full_record)) - 10  # the record holds both kinds


def test_single_value_without_limits_has_its_own_uncertainty(full_record, full_words, names, printed):
    singles = [row for row in other_rows(full_record)
               if row.name.rpartition(".")[2] not in ("ab", "bc", "ca", "a", "b", "c") or "" in row.cells]
    assert len(singles) > 10
    for row in singles:
        shown = " ".join(cell.value for cell in row.cells.values())
        assert _texts(printed.line_of(full_words, row.name, names)) == f"{row.unit} {shown}"


def test_each_failing_value_is_white_in_a_dark_field_of_its_own(full_record, full_pdf):
    fields, red = 0, False
    for page in PdfReader(BytesIO(full_pdf)).pages:
        for operands, operator in page.get_contents().operations:
            if operator == b"rg":
                red = [round(float(part), 2) for part in operands] == [0.56, 0.07, 0.13]
            elif operator == b"re" and red and float(operands[2]) > 40:
                fields += float(operands[3]) >= FIELD_OF_A_FAIL
    failing = [j for j in full_record["judged"] if j["result"] == "FAIL"]
    assert fields == len(failing) + bool(failing)  # and the verdict itself
