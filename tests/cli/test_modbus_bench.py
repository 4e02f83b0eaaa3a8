"""A whole test over the Modbus drive, and the proof of the watchdog, from the command line."""

import json

import pytest

from station.bench import watchdog_proof
from station.bench.dialect import SHIPPED
from station.cli.setup import DriveKind, write_folder
from station.exit_code import ExitCode


@pytest.fixture
def folder(tmp_path):
    """A starter folder whose drive is spoken to over Modbus."""
    write_folder(tmp_path / "line", pace=50.0, free_ports=True, drive=DriveKind.MODBUS)
    return tmp_path / "line"


@pytest.fixture
def quick(folder, monkeypatch):
    monkeypatch.setattr(watchdog_proof, "COMING_TO_REST", 0.8)
    bench = folder / "bench.toml"
    bench.write_text(bench.read_text().replace("watchdog_s = 5.0", "watchdog_s = 1.0"))
    return folder


def test_good_motor_passes(folder, command):
    station = folder / "station.toml"
    code, out, err = command("test", "CP40-0001", "--station", station)
    assert code == ExitCode.PASS, err
    assert "✓ PASS" in out
    code, out, _ = command("records", "show", "CP40-0001", "--station", station, "--json")
    record = json.loads(out)
    drive = next(i for i in record["bench"]["instruments"] if i["role"] == "drive")
    assert (record["verdict"], drive["model"], drive["serial"]) == ("PASS", "DRIVE-402", "EB-DRV-402")


def test_motor_with_shorted_turns_fails(folder, command):
    code, out, _ = command("test", "CP60-0103", "--station", folder / "station.toml")
    assert code == ExitCode.FAIL
    assert "✗ FAIL" in out


def test_proof_is_printed_and_kept(quick, command):
    code, out, err = command("bench", "check", "--prove-watchdog", "--station", quick / "station.toml")
    assert code == ExitCode.PASS, err
    assert out.index("CAUTION") < out.index("stops by itself")
    kept = json.loads((quick / "store" / "watchdog.jsonl").read_text())
    assert kept["drive_stopped"] is True
    assert (kept["rpm_before"], kept["rpm_after"]) == (pytest.approx(100, rel=0.02), 0)


def test_drive_that_does_not_mind_lost_contact_makes_the_bench_unfit(quick, command):
    text = (SHIPPED / "embedded_modbus_drive.toml").read_text(encoding="utf-8")
    assert "value = 1 }     # 6007h" in text
    (quick / "deaf.toml").write_text(text.replace("value = 1 }     # 6007h", "value = 0 }     # 6007h"))
    bench = quick / "bench.toml"
    bench.write_text(bench.read_text().replace("embedded_modbus_drive", "deaf.toml"))
    code, out, _ = command("bench", "check", "--prove-watchdog", "--station", quick / "station.toml")
    assert code == ExitCode.BENCH_NOT_FIT
    assert "DOES NOT STOP" in out
    assert json.loads((quick / "store" / "watchdog.jsonl").read_text())["drive_stopped"] is False


def test_plain_check_turns_nothing(folder, command):
    code, out, _ = command("bench", "check", "--station", folder / "station.toml")
    assert code == ExitCode.PASS
    assert "DRIVE-402" in out
    assert "CAUTION" not in out
    assert not (folder / "store" / "watchdog.jsonl").exists()


def test_served_bench_names_its_modbus_drive(folder, command):
    code, out, _ = command("bench", "simulate", "--station", folder / "station.toml", "--seconds", "0.1")
    assert code == ExitCode.PASS
    assert "drive: MODBUS::127.0.0.1::" in out
    assert "guard: TCPIP::127.0.0.1::" in out
