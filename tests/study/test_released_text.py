"""The text of a released file: the draft with who released it, and not a byte else."""

import tomllib
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.errors import UsageError
from station.judgement.limit_file import parse_limits
from station.study.released_text import released_text
from station.toml_file import parse_toml

SHIPPED = sorted((Path(__file__).parents[2] / "limits").glob("*.toml"))
RELEASED = 'released_by = "Line engineering"\nreleased_on = 2026-11-02\n'
ON = date(2026, 11, 26)


def draft_of(text):
    return parse_limits(parse_toml(text.encode(), "draft.toml"))


def released(text, person="A. Tester", reason="narrower"):
    return released_text(draft_of(text), person=person, on=ON, reason=reason, study="what-if.json, SHA-256 55")


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_only_the_revision_changes(path):
    text = path.read_text().replace(RELEASED, "")
    made = released(text)
    added = ['released_by = "A. Tester"', "released_on = 2026-11-26", 'reason = "narrower"',
             'study = "what-if.json, SHA-256 55"']
    assert [line for line in made.splitlines() if line not in added] == text.splitlines()
    assert all(line in made.splitlines() for line in added)
    revision = draft_of(made).revision
    assert (revision.released_by, revision.released_on, revision.reason) == ("A. Tester", "2026-11-26", "narrower")
    assert draft_of(made).limits == draft_of(text).limits


TEXT = SHIPPED[0].read_text().replace(RELEASED, "")


@given(st.text(min_size=1, max_size=40).filter(str.strip), st.text(min_size=1, max_size=40).filter(str.strip))
def test_whatever_people_write_is_read_back(person, reason):
    try:
        made = released(TEXT, person, reason)
    except UsageError:
        assert any(0xD800 <= ord(sign) < 0xE000 for sign in person + reason)
        return
    revision = tomllib.loads(made)["revision"]
    assert (revision["released_by"], revision["reason"]) == (person, reason)


def test_line_ends_and_order_stay_as_they_are():
    made = released(TEXT.replace("\n", "\r\n"))
    assert made == released(TEXT).replace("\n", "\r\n")


def test_a_revision_at_the_end_of_the_file_and_old_words_of_reason():
    head, rest = TEXT.split("[revision]\n")
    table, limits = rest.split("[limits]")
    text = head + "[limits]" + limits + "\n[revision]\n" + table.rstrip("\n") + '\nreason = "old"'
    assert tomllib.loads(released(text))["revision"]["reason"] == "narrower"
    assert '"old"' not in released(text)


@pytest.mark.parametrize("other", ['[revision] # "B"\n"number" = """\n[x]\n"""\n',
                                   'revision.number = "B"\n', 'revision = { number = "B" }\n'])
def test_a_table_written_otherwise_is_refused(other):
    head, rest = TEXT.split("[revision]\n")
    top = "format = 1\n"
    text = (top + other + head.split(top)[1] if other.startswith("revision") else head + other
            ) + "[limits]" + rest.split("[limits]")[1]
    with pytest.raises(UsageError, match="cannot be added to"):
        released(text)
