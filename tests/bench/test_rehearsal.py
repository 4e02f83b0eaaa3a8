"""station.bench.rehearsal against a toy: faults are told template by template, and hazards end on every way out."""

import socket
from pathlib import Path

import pytest

from station.bench.bench_file import NEEDS
from station.bench.dialect import load_dialect
from station.bench.rehearsal import Rehearsal
from station.bench.scpi_session import ScpiSession
from station.clock import system_clock


@pytest.fixture
def rehearse(toy):
    """Make a rehearsal of the embedded dialect of a role with the toy."""
    sessions = []

    def make(role, *, hazards=False, resource=toy.resource):
        dialect = load_dialect(f"embedded_{role}", Path(), role, NEEDS[role])
        sessions.append(ScpiSession(role, resource, None, system_clock(), 0.3, dialect.speech))
        return Rehearsal(role, sessions[-1], dialect, system_clock(), hazards)

    yield make
    for session in sessions:
        session.close()


@pytest.fixture
def insulation(toy):
    toy.answers |= {"TRIG:DEL?": "0.5", "MEAS:RES?": "9.9E37", "MEAS:VOLT?": "3.0"}


def by_name(turns):
    return {turn.name: turn for turn in turns}


def test_every_template_has_its_turn(rehearse, insulation):
    turns = by_name(rehearse("insulation", hazards=True).play())
    assert set(turns) >= set(NEEDS["insulation"].templates)
    assert all(turn.fault is None for turn in turns.values())
    assert turns["resistance"].understood == "over range"
    assert turns["dwell"].understood == "0.5"


def test_hazards_are_left_out_unless_allowed(toy, rehearse, insulation):
    turns = by_name(rehearse("insulation").play())
    assert turns["on"].left_out
    assert turns["resistance"].left_out
    assert "OUTP ON" not in toy.commands
    assert toy.commands[-1] == "OUTP OFF"


def test_one_wrong_template_does_not_hide_the_others(toy, rehearse):
    toy.answers["MEAS:TEMP? (@2)"] = "22.5"
    turns = by_name(rehearse("thermometer").play())
    assert "no reply" in str(turns["winding"].fault)
    assert turns["ambient"].understood == "22.5"


def test_nobody_there_is_told_once(rehearse):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        nobody = f"TCPIP::127.0.0.1::{taken.getsockname()[1]}::SOCKET"
    turns = list(rehearse("thermometer", resource=nobody).play())
    assert [turn.name for turn in turns] == ["identity"]
    assert turns[0].fault is not None


def test_a_failed_self_test_is_a_fault(toy, rehearse):
    toy.answers |= {"*TST?": "1", "SENS:DIG:DATA?": "5"}
    turns = by_name(rehearse("guard").play())
    assert "self-test failed" in str(turns["self-test"].fault)
    assert turns["state"].understood == "bits 101"


def test_leaving_early_switches_off(toy, rehearse, insulation):
    turns = rehearse("insulation", hazards=True).play()
    while next(turns).name != "on":
        pass
    assert toy.commands[-1] == "OUTP ON"
    turns.close()
    assert toy.commands[-1] == "OUTP OFF"


def test_leads_that_stay_live_are_told(toy, rehearse, insulation, monkeypatch):
    monkeypatch.setattr("station.bench.rehearsal.DISCHARGED_WITHIN", 0.05)
    toy.answers["MEAS:VOLT?"] = "480"
    turns = by_name(rehearse("insulation", hazards=True).play())
    assert "not discharged" in str(turns["discharge"].fault)
    assert "do not touch" in str(turns["discharge"].fault)
