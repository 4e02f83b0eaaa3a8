"""How often a motor may be tested: rules, and at the embedded bench."""

import pytest

from station.cli.setup import write_folder
from station.cli.workplace import open_workplace
from station.errors import NotAllowedError
from station.record.attempt import Attempt
from station.record.record_schema import check_record
from station.sequence.progress import unwatched
from station.sequence.runs_gate import FurtherRun, leave_needed
from station.sequence.station_file import load_station

LEAVE = FurtherRun("K. Muster", "new fixture, compared with the old one")


def attempts(*verdicts):
    return tuple(Attempt(run, "2026-11-25T10:00:00.000Z", verdict.removeprefix("void "), verdict.startswith("void "),
                         bytes(32)) for run, verdict in enumerate(verdicts, start=1))


@pytest.mark.parametrize(("verdicts", "allowed"), [
    ((), 1), (("FAIL",), 2), (("NO RESULT", "NO RESULT"), 1), (("void FAIL",), 1),
    (("void PASS", "NO RESULT", "FAIL"), 2),
])
def test_a_run_is_left(verdicts, allowed):
    assert leave_needed("A", attempts(*verdicts), allowed, None) is None
    assert leave_needed("A", attempts(*verdicts), allowed, LEAVE) is None   # not needed, so not recorded


@pytest.mark.parametrize(("verdicts", "allowed"), [
    (("FAIL",), 1), (("PASS",), 1), (("FAIL", "NO RESULT", "PASS"), 2), (("FAIL", "FAIL", "void FAIL"), 2),
])
def test_all_runs_are_used(verdicts, allowed):
    with pytest.raises(NotAllowedError, match="has used its runs"):
        leave_needed("A", attempts(*verdicts), allowed, None)
    assert leave_needed("A", attempts(*verdicts), allowed, LEAVE) == LEAVE


def test_a_motor_that_has_used_its_runs_is_refused_before_anything_moves(tmp_path):
    write_folder(tmp_path / "line", pace=20.0, free_ports=True)
    limits = tmp_path / "line" / "limits" / "CP-40.toml"
    limits.write_text(limits.read_text().replace("allowed = 2", "allowed = 1"))
    with open_workplace(load_station(tmp_path / "line" / "station.toml"), "tester") as place:
        first = place.test("CP40-0002", unwatched).record
        heard = len(place.bench.transcript.as_json_lines())
        with pytest.raises(NotAllowedError, match="run 1 FAIL"):
            place.test("CP40-0002", unwatched)
        assert len(place.bench.transcript.as_json_lines()) == heard     # not a word to the instruments
        assert place.store.unfinished() == []
        again = place.test("CP40-0002", unwatched, further=LEAVE).record
        place.store.correct(first, "void", person="K", reason="askew", at=first["ended"])
        place.store.correct(again, "void", person="K", reason="askew", at=first["ended"])
        third = place.test("CP40-0002", unwatched).record
    assert (first["attempts"], "further_run" in first) == ([], False)
    assert again["further_run"] == LEAVE.as_record()
    assert [(a["run"], a["verdict"], a["void"]) for a in again["attempts"]] == [(1, "FAIL", False)]
    assert [(a["run"], a["void"]) for a in third["attempts"]] == [(1, True), (2, True)]
    assert "further_run" not in third
    for record in (first, again, third):
        check_record(record)
