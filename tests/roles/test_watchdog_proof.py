"""station.bench.watchdog_proof: passes drives that stop by themselves, and no others."""

from threading import Timer

import pytest

from station.bench import watchdog_proof
from station.bench.dialect import SHIPPED
from station.bench.watchdog_proof import SPEED, WatchdogProof, prove_watchdog
from station.errors import BenchNotFitError, StoppedError

DIALECTS = {"scpi": "embedded_drive", "modbus": "embedded_modbus_drive"}
# A dialect that sets something else than the watchdog, and a drive told not to mind lost contact.
BLUNDERS = {"scpi": ("OUTP:PROT:WATC {seconds}", "*ESE {seconds}"),
            "modbus": ("value = 1 }     # 6007h", "value = 0 }     # 6007h")}


@pytest.fixture(params=DIALECTS)
def kind(request):
    return request.param


@pytest.fixture
def quick(monkeypatch):
    """Less waiting at the simulated bench, which runs faster than a real one."""
    monkeypatch.setattr(watchdog_proof, "COMING_TO_REST", 0.8)
    return lambda text: text.replace("watchdog_s = 5.0", "watchdog_s = 1.0")


def test_drive_that_stops_by_itself(open_embedded, kind, quick):
    with open_embedded(quick, drive=kind) as (bench, rig, _, clock):
        proof = prove_watchdog(bench, clock, rig.press_start)
        assert proof.has_stopped
        assert proof.silence > proof.watchdog == 1.0
        assert proof.speed_before == pytest.approx(SPEED, rel=0.02)
        assert "stops by itself" in proof.sentence()
        assert bench.drive.trip() is None
        assert not rig.start_latched     # a START for the proof starts nothing else


def test_drive_that_goes_on_turning(open_embedded, kind, quick, tmp_path):
    right, wrong = BLUNDERS[kind]
    text = (SHIPPED / f"{DIALECTS[kind]}.toml").read_text(encoding="utf-8")
    assert right in text
    deaf = tmp_path / "deaf.toml"
    deaf.write_text(text.replace(right, wrong), encoding="utf-8")
    edit = lambda bench: quick(bench).replace(f'"{DIALECTS[kind]}"', f'"{deaf}"')  # noqa: E731
    with open_embedded(edit, drive=kind) as (bench, rig, _, clock):
        proof = prove_watchdog(bench, clock, rig.press_start)
        assert not proof.has_stopped
        assert "DOES NOT STOP" in proof.sentence()
        assert not rig.shaft.enabled    # the proof itself stops it


def test_nothing_moves_with_the_guard_open(open_embedded, kind):
    with open_embedded(drive=kind) as (bench, rig, _, clock):
        rig.open_guard()
        with pytest.raises(BenchNotFitError, match="guard"):
            prove_watchdog(bench, clock, rig.press_start)
        assert rig.shaft.target_rpm == 0
        assert not rig.armed


def test_nothing_moves_without_start(open_embedded, monkeypatch, kind):
    monkeypatch.setattr(watchdog_proof, "START_WAIT", 0.2)
    with open_embedded(drive=kind) as (bench, rig, _, clock):
        with pytest.raises(BenchNotFitError, match="START was not pressed"):
            prove_watchdog(bench, clock, lambda: None)
        assert rig.shaft.target_rpm == 0
        assert not rig.armed


def test_guard_that_stops_the_shaft_proves_nothing(open_embedded, kind):
    with open_embedded(lambda text: text.replace("watchdog_s = 5.0", "watchdog_s = 60.0"),
                       drive=kind) as (bench, rig, _, clock):
        def press_then_open():
            rig.press_start()
            opener.start()
        opener = Timer(2.0, rig.open_guard)
        with pytest.raises(StoppedError, match="broken off"):
            prove_watchdog(bench, clock, press_then_open)
        opener.join()
        assert not rig.shaft.enabled


@pytest.mark.parametrize(("before", "after", "later", "stopped"), [
    (SPEED, 0.0, 0.0, True), (0.0, 0.0, 0.0, False), (SPEED, SPEED, SPEED, False), (SPEED, 0.0, SPEED, False),
    (SPEED, SPEED, 0.0, False),
    (SPEED, float("nan"), 0.0, False), (float("nan"), 0.0, 0.0, False), (-SPEED, 0.0, 0.0, True),
])
def test_what_counts_as_stopped(before, after, later, stopped):
    assert WatchdogProof(1.0, 3.0, before, after, later, "").has_stopped is stopped
