"""station.bench.dialect_faults: every breach of a dialect file is told with its key, all at once."""

import json

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from station.bench.bench_file import NEEDS
from station.bench.dialect import SHIPPED, parse_dialect
from station.errors import FileContractError
from station.toml_file import parse_toml

TERSE = (SHIPPED / "terse_digitizer.toml").read_text(encoding="utf-8")
HEADED = (SHIPPED / "headed_digitizer.toml").read_text(encoding="utf-8")


def faults(text):
    with pytest.raises(FileContractError) as caught:
        parse_dialect(parse_toml(text.encode(), "my.toml"), "digitizer", NEEDS["digitizer"])
    assert all(fault.file == "my.toml" and fault.got and fault.wanted and fault.remedy for fault in caught.value.faults)
    return {fault.key for fault in caught.value.faults}


def without(text, start):
    lines = [line for line in text.splitlines() if not line.startswith(start)]
    assert len(lines) < len(text.splitlines())
    return "\n".join(lines)


def changed(text, old, new):
    assert old in text
    return text.replace(old, new)


@pytest.mark.parametrize(("old", "new", "key"), [
    ('"FAULT?"', '"FAULT?\\nHALT"', "session.errors"),
    ('["VERBOSE OFF"]', '["VERBOSE\\tOFF"]', "session.init"),
    ("(?P<maker>", "(?P<make>", "session.identity"),
    ("(?P<maker>", "((?P<maker>", "session.identity"),
    ('line_end = "\\r\\n"', 'line_end = ";"', "session.line_end"),
    ('form = "uint8"', 'form = "uint9"', "block.form"),
    ('form = "uint8"', 'form = "int8"', "numbers.code_max"),
    ('"scale", "offset"', '"", "offset"', "block.preamble"),
    ('"scale", "offset"', '"scale", "scale"', "block.preamble"),
    ('tail = "\\r\\n"', 'tail = "end"', "block.tail"),
    ("[fields.volts]", "[fields.amperes]", "fields.amperes"),
    ("times = 2.0 ", "times = -2.0 ", "fields.volts.times"),
    ('1 = "A"', '1 = "A\\n"', "fields.channel.map.1"),
    ("[answers.range]", "[answers.ranges]", "answers.ranges"),
    ("[answers.range]", "[answers.fetch]", "answers.fetch"),
    ("[answers.range]", '[answers.range]\nform = "map"', "answers.range.map"),
    ("points = [2, 4_000_000]", "points = [4_000_000, 2]", "limits.points"),
    ("interval_s = [2.0e-7, 1.0]", "interval_s = [0.0, 1.0]", "limits.interval_s"),
    ('fetch = "DUMP? {channel}"', 'fetch = "DUMP?"', "templates.fetch"),
    ('fetch = "DUMP? {channel}"', 'fetch = "DUMP? {channel:d}"', "templates.fetch"),
    ('fetch = "DUMP? {channel}"', 'fetch = []', "templates.fetch"),
    ('fetch = "DUMP? {channel}"', 'fetch = ["TO {channel}", "DUMP?\\n"]', "templates.fetch"),
    ('"RATE {rate}"', '"RATE {speed}"', "templates.set_interval"),
    ('"RATE {rate}"', '"RATE {points}"', "templates.set_interval"),
])
def test_each_fault_is_told(old, new, key):
    assert key in faults(changed(TERSE, old, new))


@pytest.mark.parametrize(("text", "keys"), [
    (without(TERSE, "preamble = \"DESC"), {"templates.scale", "templates.offset", "block.preamble"}),
    (without(TERSE, "preamble = ["), {"block.preamble"}),
    (without(HEADED, "offset"), {"templates.offset"}),
    (without(HEADED, "sweeping"), {"numbers.sweeping"}),
    (without(HEADED, "window"), {"block.batch"}),
    (changed(TERSE, '"*OPC?"', '"status"'), {"templates.status", "numbers.sweeping"}),
])
def test_what_belongs_together_is_told_together(text, keys):
    assert faults(text) >= keys


def test_faults_of_type_hide_no_others():
    text = changed(changed(TERSE, 'line_end = "\\r\\n"', 'line_end = ";"'), "HALT", "HALT\\n")
    text = changed(text, "code_max", "top")
    assert faults(text) == {"session.line_end", "templates.abort", "numbers.code_max", "numbers.top"}


def test_a_fault_of_type_makes_no_false_ones():
    assert faults(changed(TERSE, '"*OPC?"', '"opc"')) == {"completion.by"}
    assert faults(changed(TERSE, '"uint8"', '"byte"')) == {"block.form"}
    assert faults(changed(TERSE, '"points", "interval"', '"length", "interval"')) == {"block.preamble.1"}


@given(st.sampled_from(["HALT", "DUMP? {channel}", "FAULT?", "VERBOSE OFF", "DESCRIBE? {channel}"]), st.text())
def test_any_text_is_taken_or_told(old, new):
    assume(not any("\ud800" <= sign <= "\udfff" for sign in new))
    text = TERSE.replace(f'"{old}"', json.dumps(new))   # a JSON string is a TOML string but for lone surrogates
    try:
        dialect = parse_dialect(parse_toml(text.encode(), "my.toml"), "digitizer", NEEDS["digitizer"])
    except FileContractError:
        return
    lines = [*dialect.speech.init, *(line for template in dialect.templates.values() for line in template)]
    assert all(line.isascii() and line.isprintable() for line in lines)


def test_nothing_at_all_is_told():
    assert faults("") >= {"format", "role", "templates"}


def test_several_lines_may_ask_together():
    text = changed(TERSE, '"DUMP? {channel}"', '["INPUT {channel}", "DUMP?"]')
    dialect = parse_dialect(parse_toml(text.encode(), "my.toml"), "digitizer", NEEDS["digitizer"])
    assert dialect.line("fetch", channel=2, first=0, last=9, count=10) == "INPUT B\nDUMP?"
