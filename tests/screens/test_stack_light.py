"""The stack light: colours by their meaning, read back, and what it says when a lamp is dead."""

import time
from dataclasses import replace

import pytest

from station.bench.roles import COLOURS, GuardState
from station.errors import BenchError
from station.screens.access import Role
from station.screens.line_state import LineState
from station.screens.operator_view import SIGNS
from station.screens.stack_light import FLASHING, OF_STATE, StackLight, lamps_of
from station.simulated.stack_lamps import BITS

PATIENCE = 30       # s, of a loaded machine
RED, YELLOW, GREEN, BLUE, WHITE = (1 << bit for bit in range(len(COLOURS)))
SAFE, PRESSED = GuardState(True, True), GuardState(True, False)


def test_each_state_has_a_colour_and_red_says_danger_alone():
    assert OF_STATE.keys() == SIGNS.keys()
    assert "red" not in OF_STATE.values()
    assert sorted(FLASHING) == ["fail"]
    for key in SIGNS:
        assert lamps_of(key, LineState(guard=SAFE), simulated=False) == {OF_STATE[key]}
        assert lamps_of(key, LineState(guard=PRESSED), simulated=False) == {"red"}
        assert "white" in lamps_of(key, LineState(guard=PRESSED), simulated=True)
    assert lamps_of("fail", LineState(), simulated=False, is_dark=True) == set()
    assert lamps_of("pass", LineState(), simulated=False, is_dark=True) == {"green"}


@pytest.fixture
def rig(fresh_site):
    return fresh_site.fixture.rig


def await_lit(rig, wanted):
    end = time.monotonic() + PATIENCE
    while rig.stack_lamps.lit != wanted:
        assert time.monotonic() < end, bin(rig.stack_lamps.lit)
        time.sleep(0.005)


def start(site, operator):
    """Press START until it takes: it does once the station waits for it."""
    end = time.monotonic() + PATIENCE
    while site.line.state.phase == "waiting":
        operator.post("/rig", data={"act": "start"})
        assert time.monotonic() < end
        time.sleep(0.02)


@pytest.fixture
def site(fresh_site):
    return fresh_site


@pytest.fixture
def address(fresh_address):
    return fresh_address


def test_it_follows_the_line(site, rig, asked):
    await_lit(rig, GREEN | WHITE)
    operator = asked(Role.OPERATOR)
    operator.post("/line/scan", data={"text": "CP40-0102"})
    await_lit(rig, BLUE | WHITE)
    operator.post("/rig", data={"act": "close"})
    start(site, operator)
    for lit in (GREEN | WHITE, BLUE | WHITE, WHITE, BLUE | WHITE):      # measures, then FAIL flashes
        await_lit(rig, lit)
    operator.post("/rig", data={"act": "stop"})
    await_lit(rig, RED | WHITE)
    assert site.light.fault is None


def test_every_lamp_is_tried_at_the_beginning_and_none_is_left_lit_at_the_end(site, rig):
    await_lit(rig, GREEN | WHITE)
    site.light.__exit__(None, None, None)
    assert rig.stack_lamps.lit == 0
    seen = []

    def show(lamps):
        is_shown = site.line.light(lamps)
        seen.append(rig.stack_lamps.lit)
        return is_shown

    with StackLight(show, lambda: ("ready", site.line.state), simulated=False):
        await_lit(rig, GREEN)
    assert seen == [BITS, GREEN, 0]


def test_a_dead_lamp_is_told_and_stops_nothing(site, rig, asked):
    await_lit(rig, GREEN | WHITE)
    rig.stack_lamps.dead = BLUE
    operator = asked(Role.OPERATOR)
    operator.post("/line/scan", data={"text": "CP40-0001"})
    end = time.monotonic() + PATIENCE
    while site.light.fault is None:
        assert time.monotonic() < end
        time.sleep(0.01)
    assert isinstance(site.light.fault, BenchError)
    assert (site.light.fault.expected, site.light.fault.got) == ("blue, white", "white")
    assert "Do not go by it: tell the engineer." in operator.get("/line").text
    operator.post("/rig", data={"act": "close"})
    start(site, operator)
    while site.line.state.phase != "ended":
        assert time.monotonic() < end + PATIENCE
        time.sleep(0.05)
    assert site.line.state.record["verdict"] == "PASS"


def test_a_light_without_a_lamp_of_a_colour_is_told(site):
    guard = site.line._ready.result().place.bench.guard
    numbers = {name: bit for name, bit in guard.dialect.numbers.items() if name != "blue"}
    short = replace(guard, dialect=replace(guard.dialect, numbers=numbers))
    assert short.light(frozenset({"green"}))
    with pytest.raises(BenchError, match="no such lamp: expected blue, got red, yellow, green, white"):
        short.light(frozenset({"blue"}))
    none = replace(guard, dialect=replace(guard.dialect, templates={
        name: text for name, text in guard.dialect.templates.items() if name != "lit"}))
    assert not none.light(frozenset({"blue"}))
