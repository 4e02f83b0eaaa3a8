"""The gate: no motor of the production is judged by limits that nobody released, or by others than the last ones."""

from pathlib import Path

import pytest

from station.errors import NotAllowedError
from station.exit_code import ExitCode
from station.judgement.limit_file import parse_limits
from station.sequence.release_gate import require_released
from station.toml_file import parse_toml

SHIPPED = Path(__file__).parents[2] / "limits"
TEXT = (SHIPPED / "CP-40.toml").read_text()
RELEASED = 'released_by = "Line engineering"\nreleased_on = 2026-11-02\n'


def limits_of(text):
    return parse_limits(parse_toml(text.encode(), "CP-40.toml"))


def release_of(limits, motor_type="CP-40"):
    return {"motor_type": motor_type, "revision": limits.revision.number, "sha256": limits.sha256,
            "person": "A. Tester", "at": "2026-11-26T08:00:00.000Z"}


@pytest.mark.parametrize("path", sorted(SHIPPED.glob("*.toml")), ids=lambda path: path.stem)
def test_the_shipped_limits_are_released(path):
    limits = parse_limits(parse_toml(path.read_bytes(), path.name))
    require_released(limits, [])
    require_released(limits, [release_of(limits, "another type"), release_of(limits, limits.motor_type.name)])


def test_a_draft_is_refused_and_the_way_to_release_it_told():
    draft = limits_of(TEXT.replace(RELEASED, ""))
    assert draft.revision.released_by is None
    with pytest.raises(NotAllowedError, match=r"draft.*station limits release") as refused:
        require_released(draft, [])
    assert refused.value.exit_code == ExitCode.NOT_ALLOWED
    with pytest.raises(NotAllowedError, match="draft"):
        require_released(draft, [release_of(draft)])


def test_only_the_last_release_of_the_type_is_in_force():
    first, second = limits_of(TEXT), limits_of(TEXT.replace('number = "A"', 'number = "B"'))
    require_released(second, [release_of(first), release_of(second)])
    with pytest.raises(NotAllowedError, match=r"not the one that was released.*station limits restore CP-40"):
        require_released(first, [release_of(first), release_of(second)])


def test_an_edit_by_hand_is_refused_once_there_is_a_release():
    edited = limits_of(TEXT.replace("upper = 10.4", "upper = 10.5"))
    require_released(edited, [])
    with pytest.raises(NotAllowedError, match="not the one"):
        require_released(edited, [release_of(limits_of(TEXT))])
