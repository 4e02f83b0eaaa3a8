"""station.certificate.families: the grid of lines and sensors against the record, cell by cell."""

import pytest

from station.certificate.families import largest, sort_families
from station.certificate.render import render_certificate
from station.certificate.rows import Cell, other_rows

CAPTURES = ("forward 750", "forward 1500", "reverse 750", "reverse 1500")


def _families(record):
    return sort_families([row for row in other_rows(record) if "" not in row.cells])[0]


def test_grid_holds_every_value_in_its_column_and_the_largest_uncertainty(full_record, full_words, printed):
    families = _families(full_record)
    assert [family.stem for family in families if family.stem.startswith("harmonic_")] == [
        f"harmonic_{order}" for order in range(2, 26)]
    for family in families:
        expected = family.unit.split()
        for member in family.members:
            cells = [family.cell(member, label) for label in CAPTURES]
            expected += [cell.number for cell in cells] + [largest(cells)]
        line = printed.line_of(full_words, family.stem, {f.stem for f in families})
        assert [word.text for word in line] == expected
        above = sorted((w for w in full_words if w.page == line[0].page and w.top < line[0].top), key=lambda w: w.top)
        heads = [[w.left for w in above if w.text == f".{member}"][-1] for member in family.members]
        for index, word in enumerate(line[len(family.unit.split()):]):
            assert heads[index // 5] - 0.5 <= word.left < (*heads[1:], 561.0)[index // 5]


def test_largest_uncertainty_is_chosen_before_rounding():
    cells = [Cell("1.00", "0.10", 0.0996, "", ""), Cell("1.000", "0.099", 0.0994, "", ""), None,
             Cell("1", "?", None, "", "")]
    assert largest(cells) == "0.10"
    assert largest(cells[2:]) == "—"


@pytest.mark.parametrize(("change", "shown"), [
    pytest.param({"u": None}, "± ?", id="no uncertainty known"),
    pytest.param({"value": None}, "no value", id="no value"),
])
def test_value_without_uncertainty_says_so_in_its_cell(record, pages, change, shown):
    measurements = [m | change if (m["name"], m["label"]) == ("harmonic_5.bc", "forward 750") else m
                    for m in record["measurements"]]
    before, after = "\n".join(pages(record)), "\n".join(pages(record | {"measurements": measurements}))
    assert after.count(shown) == before.count(shown) + 1


def test_missing_member_leaves_its_cells_empty(record, printed, tmp_path):
    measurements = [m for m in record["measurements"] if m["name"] != "harmonic_5.bc"]
    words = printed.words_of(render_certificate(record | {"measurements": measurements}), tmp_path)
    line = [word.text for word in printed.line_of(words, "harmonic_5", set())]
    assert line[6:11] == ["—"] * 5
    assert "—" not in line[:6] + line[11:]
