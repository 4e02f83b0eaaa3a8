"""Addresses of instruments as VISA writes them: which kinds the station opens, and the TCP port in one."""

import re

_HOST = r"[A-Za-z0-9.\-]+"
SCPI_RESOURCE = (
    r"("
    rf"TCPIP\d*::{_HOST}::\d{{1,5}}::SOCKET"                    # raw socket
    rf"|TCPIP\d*::{_HOST}::hislip\d+(,\d{{1,5}})?::INSTR"       # HiSLIP, port 4880 unless given
    rf"|TCPIP\d*::{_HOST}(,\d{{1,5}})?(::inst\d+)?::INSTR"      # VXI-11
    r"|ASRL[A-Za-z0-9/._\-]+::INSTR"                            # serial line
    r"|USB\d*(::0x[0-9A-Fa-f]{4}){2}::[^:\s]+(::\d+)?::INSTR"   # USBTMC
    r")"
)
HISLIP_PORT = 4880
_PORT = re.compile(r"::(\d+)::SOCKET$|^MODBUS::[^:]+::(\d+)|::hislip\d+,(\d+)::INSTR$")


def tcp_port(resource: str) -> int | None:
    """Return the TCP port that `resource` names; None for VXI-11, serial and USB."""
    named = _PORT.search(resource)
    if named:
        return int(next(group for group in named.groups() if group))
    return HISLIP_PORT if is_hislip(resource) else None


def is_hislip(resource: str) -> bool:
    """Return whether `resource` is reached over HiSLIP."""
    return "::hislip" in resource
