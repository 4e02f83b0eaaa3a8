"""station.bench.resource: what is opened, and the port in it."""

import re

import pytest

from station.bench.resource import SCPI_RESOURCE, is_hislip, tcp_port


@pytest.mark.parametrize(("resource", "port"), [
    ("TCPIP::192.168.1.5::5025::SOCKET", 5025),
    ("TCPIP0::drive.line-3.plant::5025::SOCKET", 5025),
    ("TCPIP::127.0.0.1::hislip0::INSTR", 4880),
    ("TCPIP::127.0.0.1::hislip0,45880::INSTR", 45880),
    ("TCPIP::127.0.0.1::inst0::INSTR", None),
    ("TCPIP::127.0.0.1::INSTR", None),
    ("TCPIP::127.0.0.1,1024::inst0::INSTR", None),
    ("ASRL/dev/ttyUSB0::INSTR", None),
    ("ASRL3::INSTR", None),
    ("USB0::0x1234::0xABCD::SN-7::INSTR", None),
    ("USB::0x1234::0xABCD::SN-7::0::INSTR", None),
])
def test_resources(resource, port):
    assert re.fullmatch(SCPI_RESOURCE, resource)
    assert tcp_port(resource) == port
    assert is_hislip(resource) == ("hislip" in resource)


@pytest.mark.parametrize("resource", [
    "", "127.0.0.1:5025", "TCPIP::127.0.0.1::SOCKET", "TCPIP::127.0.0.1::5025", "TCPIP::a b::5025::SOCKET",
    "ASRL::INSTR", "USB0::1234::ABCD::SN::INSTR", "TCPIP::127.0.0.1::5025::SOCKET\n", "MODBUS::127.0.0.1::502",
])
def test_what_is_no_scpi_resource(resource):
    assert not re.fullmatch(SCPI_RESOURCE, resource)


def test_modbus_names_its_port():
    assert tcp_port("MODBUS::127.0.0.1::1502") == 1502
    assert tcp_port("MODBUS::127.0.0.1::1502::3") == 1502
