"""Ports for a bench that is served later."""

import socket
from pathlib import Path

import pytest

from station.simulated import free_port
from station.simulated.free_port import PORTS, free_ports


def test_ports_differ_and_can_be_served():
    ports = free_ports(20)
    assert len(set(ports)) == 20
    for port in ports:
        with socket.create_server(("127.0.0.1", port)):
            pass


def test_a_port_at_which_somebody_listens_is_passed_over(monkeypatch):
    (first, second) = free_ports(2)
    monkeypatch.setattr(free_port.SystemRandom, "sample", lambda self, ports, tries: [first, second])
    with socket.create_server(("127.0.0.1", first)), pytest.raises(OSError, match="no 2 free ports"):
        free_ports(2)


def test_processes_of_other_numbers_look_elsewhere(monkeypatch):
    found = []
    for number in (4000, 4001):
        monkeypatch.setattr(free_port.os, "getpid", lambda number=number: number)
        found += [set(free_ports(100))]
    assert found[0].isdisjoint(found[1])
    assert found[0] | found[1] <= set(PORTS)


def test_the_operating_system_gives_none_of_them_to_others():
    """As it is set here; by RFC 6335 such ports begin at 49152."""
    lowest = int(Path("/proc/sys/net/ipv4/ip_local_port_range").read_text().split()[0])
    assert PORTS.stop <= lowest
