"""A whole test with every instrument over HiSLIP, from the command line."""

import re

import pytest

from station.exit_code import ExitCode


@pytest.fixture
def hislip_folder(folder):
    """A starter folder whose bench file names HiSLIP ports only."""
    bench = folder / "bench.toml"
    text, changed = re.subn(r'"TCPIP::127\.0\.0\.1::(\d+)::SOCKET"', r'"TCPIP::127.0.0.1::hislip0,\1::INSTR"',
                            bench.read_text())
    assert changed == 7
    bench.write_text(text)
    return folder


def test_good_motor_passes(hislip_folder, command):
    code, out, err = command("test", "CP40-0001", "--station", hislip_folder / "station.toml")
    assert code == ExitCode.PASS, err
    assert "✓ PASS" in out


def test_served_bench_prints_both_ports_of_an_instrument(hislip_folder, command):
    code, out, err = command("bench", "simulate", "--station", hislip_folder / "station.toml", "--seconds", "0.1")
    assert code == ExitCode.PASS, err
    named = re.findall(r'"(TCPIP::127.0.0.1::hislip0,\d+::INSTR)"', (hislip_folder / "bench.toml").read_text())
    assert all(f": {resource}" in out for resource in named)
    assert len(re.findall(r"^\w+: TCPIP::127\.0\.0\.1::\d+::SOCKET$", out, re.M)) == 7
