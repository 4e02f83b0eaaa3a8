"""station.certificate.grids: two tables side by side keep to their own half, and too high ones go below each other."""

import pytest

from station.certificate.grids import Grid, draw_beside
from station.certificate.sheet import LEFT, RIGHT, Imprint, Sheet

MIDDLE = (LEFT + RIGHT) / 2


def _grid(title, letter, rows):
    return Grid(title, ("no.", f"{letter}s"), (20, 80), [[str(n), f"{letter}{n} {letter * 60}"] for n in range(rows)])


@pytest.fixture
def drawn(printed, tmp_path):
    """Draw two tables of so many rows; return the words and the pages."""
    def draw(left, right, under=0):
        sheet = Sheet(Imprint("Title", "N-1", "PASS", "", 1))
        draw_beside(sheet, [_grid("Left", "a", left), _grid("Low", "c", under)], [_grid("Right", "b", right)],
                    share=0.5)
        return printed.words_of(sheet.finish(), tmp_path), sheet.page
    return draw


@pytest.mark.parametrize(("left", "right"), [(7, 4), (4, 7), (1, 1)])
def test_side_by_side_each_keeps_to_its_half(drawn, printed, left, right):
    words, pages = drawn(left, right)
    assert pages == 1
    assert printed.overlapping(words) == []
    assert all(word.right < MIDDLE for word in words if word.text.startswith("a"))
    assert all(word.left > MIDDLE for word in words if word.text.startswith("b"))
    tops = {word.text: word.top for word in words}
    assert tops["a0"] == tops["b0"]


def test_second_table_stands_under_the_first_of_its_side(drawn, printed):
    words, pages = drawn(3, 9, under=2)
    assert pages == 1
    assert printed.overlapping(words) == []
    tops = {word.text: word.top for word in words}
    assert tops["a2"] < tops["c0"] < tops["b8"]


@pytest.mark.parametrize(("left", "right", "expected"), [
    pytest.param(150, 4, 2, id="one too high"),
    pytest.param(150, 150, 3, id="both too high"),
    pytest.param(0, 3, 1, id="one empty"),
    pytest.param(0, 0, 1, id="both empty"),
])
def test_too_high_ones_stand_below_each_other_and_lose_no_row(drawn, left, right, expected):
    words, pages = drawn(left, right)
    texts = [word.text for word in words]
    assert pages >= expected
    assert [f"a{n}" for n in range(left)] == [t for t in texts if t.startswith("a") and t[1:].isdigit()]
    assert [f"b{n}" for n in range(right)] == [t for t in texts if t.startswith("b") and t[1:].isdigit()]
    assert texts.count("no.") >= pages if left else texts.count("no.") == bool(right)
    assert max((word.bottom for word in words), default=0) < 822
