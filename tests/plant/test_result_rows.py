"""Tables of what came of tests: the same as a general-purpose library makes of plain dictionaries, row by row."""

import pyarrow as pa
from hypothesis import given
from hypothesis import strategies as st

from station.plant.result_rows import SCHEMA, Row, Whose, table_of

WORDS = st.none() | st.sampled_from(["", "eol-1", "eol-2", "Größe"])
NUMBERS = st.none() | st.floats(allow_nan=False)
ROWS = st.builds(Row, st.text(max_size=3), st.text(max_size=3), st.sampled_from(["%", "ohm"]), NUMBERS, NUMBERS,
                 NUMBERS, NUMBERS, NUMBERS, NUMBERS, st.sampled_from(["same", "differs", None]))
TESTS = st.builds(Whose, WORDS, WORDS, st.none() | st.integers(0, 2**62), WORDS, st.none() | st.integers(1, 2**31 - 1),
                  WORDS, WORDS)


def test_the_columns_are_the_fields_in_their_order():
    assert SCHEMA.names == [*Whose._fields, *Row._fields]


@given(st.lists(st.tuples(TESTS, st.lists(ROWS, max_size=4)), max_size=5))
def test_every_value_stands_in_its_row_beside_its_test(found):
    table = table_of(found)
    table.validate(full=True)
    expected = [whose._asdict() | row._asdict() for whose, rows in found for row in rows]
    assert table.equals(pa.Table.from_pylist(expected, schema=SCHEMA))


def test_a_test_without_values_leaves_nothing_in_the_table():
    table = table_of([(Whose(serial="A"), []), (Whose(serial="B"), [Row("", "thd.ab", "%", 1.0, None, None)])])
    assert table["serial"].chunk(0).dictionary.to_pylist() == ["B"]
