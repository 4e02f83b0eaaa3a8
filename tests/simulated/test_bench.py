"""The bench as a whole: ports, refusals, and that nothing is live when it is left."""

import socket

import pytest

from station.errors import UsageError
from station.simulated.bench import ROLES, SimulatedBench


def test_every_role_has_a_port_of_its_own(served):
    assert tuple(served.ports) == ROLES
    assert len({*served.ports.values(), served.side_port}) == len(ROLES) + 1


def test_a_taken_port_is_named_and_nothing_is_left_open(served):
    with pytest.raises(UsageError, match="simulated guard"), SimulatedBench(
            served.rig, {"guard": served.ports["drive"]}):
        pytest.fail("it opened")


def test_a_port_is_served_where_asked(served):
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    with SimulatedBench(served.rig, {"guard": port}) as second:
        assert second.ports["guard"] == port


def test_unknown_role_is_refused(served):
    with pytest.raises(UsageError, match="oven"):
        SimulatedBench(served.rig, {"oven": 0})


def test_leaving_takes_energy_away(served, start, connect):
    start()
    connect("supply").ask("VOLT 5;:OUTP ON;*OPC?")
    connect("drive").ask("SPE 500;:OUTP ON;*OPC?")
    assert served.rig.shaft.enabled
    with SimulatedBench(served.rig, {}):
        pass
    assert not served.rig.shaft.enabled
    assert served.rig.sensor_supply_current() == 0.0
