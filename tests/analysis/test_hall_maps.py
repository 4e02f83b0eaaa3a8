"""Every way of connecting three Hall leads is named right from a capture: 48 maps, two spacings, two directions."""

from dataclasses import replace
from itertools import permutations, product

import numpy as np
import pytest
from waves import Turning, Winding, capture

from station.analysis.analyse import analyse_capture
from station.capture import Channel
from station.motor import HallLayout, MotorType

DECLARED = {120: (0.0, 120.0, 240.0), 60: (0.0, 60.0, 120.0)}
RATE, SECONDS, SCALE = 20e3, 0.135, 1e-3
WAVES = {sign: capture(Turning(rpm=sign * 1500), Winding(), np.random.default_rng(3), rate=RATE, seconds=SECONDS)
         for sign in (1, -1)}
# (which sensor each lead carries, which leads are turned over)
WIRINGS = [(order, turned) for order in permutations(range(3)) for turned in product((False, True), repeat=3)]


def motor_type(spacing):
    return MotorType("T-1", 4, "star", 48.0, "clockwise", "drive end", HallLayout(spacing, DECLARED[spacing]))


def wired(spacing, sign, order, turned, late=0.0):
    """Capture whose leads carry sensors in another order, some turned over, all `late` degrees."""
    taken = WAVES[sign]
    times = np.arange(taken.codes["v_ab"].size) / RATE
    angle = np.degrees(Turning(rpm=sign * 1500).angle(times))
    codes, channels = dict(taken.codes), dict(taken.channels)
    for lead, name in enumerate(("h_a", "h_b", "h_c")):
        high = (angle - DECLARED[spacing][order[lead]] - late) % 360.0 < 180.0
        codes[name] = np.where(high != turned[lead], 4800, 200).astype(np.int16)
        channels[name] = Channel(SCALE)
    return replace(taken, codes=codes, channels=channels)


def in_words(order, turned):
    """What a person would say of the wiring, part by part."""
    said = []
    moved = [lead for lead in range(3) if order[lead] != lead]
    if len(moved) == 2:
        said.append(f"Hall leads {'ABC'[moved[0]]} and {'ABC'[moved[1]]} are exchanged")
    elif moved:
        said.append(", ".join(f"{'ABC'[lead]} carries {'ABC'[order[lead]]}" for lead in range(3)))
    over = [lead for lead in range(3) if turned[lead]]
    if len(over) == 3:
        said.append("all three Hall signals are inverted")
    elif over:
        said.append("Hall signal " + " and ".join("ABC"[lead] for lead in over) + (" is" if len(over) == 1 else " are"))
    return said


def rises(spacing, order, turned):
    return tuple(round(DECLARED[spacing][order[lead]] + 180.0 * turned[lead]) % 360 for lead in range(3))


def changes(order, turned):
    return sum(turned) + sum(order[lead] != lead for lead in range(3))


def plainer(spacing, order, turned):
    """Wirings of fewer changes that read as this one when every sensor switches later by as many degrees."""
    own = rises(spacing, order, turned)
    found = {}
    for other in WIRINGS:
        seen = rises(spacing, *other)
        late = (own[0] - seen[0]) % 360
        if late and changes(*other) < changes(order, turned) and all(
                (x - y - late) % 360 == 0 for x, y in zip(own, seen, strict=True)):
            found[other] = late
    return found


def test_there_are_forty_eight_wirings_and_no_two_read_alike():
    """Source: 6 permutations by 8 inversions (comments of an open machine controller's Hall component)."""
    for spacing in (60, 120):
        assert len({rises(spacing, *wiring) for wiring in WIRINGS}) == 48


@pytest.mark.parametrize("sign", [1, -1], ids=["forward", "reverse"])
@pytest.mark.parametrize("spacing", [120, 60])
@pytest.mark.parametrize("number", range(48))
def test_the_wiring_is_named_with_what_it_cannot_be_told_from(number, spacing, sign):
    order, turned = WIRINGS[number]
    found = analyse_capture(wired(spacing, sign, order, turned), motor_type(spacing)).findings
    if changes(order, turned) == 0:
        assert found == ()
        return
    (cause,) = found
    assert cause.code == ("hall_sensor_inverted" if order == (0, 1, 2) else "hall_leads_exchanged")
    fits, _, same = cause.text.replace("reads the same", "read the same").partition(" read the same")
    for part in in_words(order, turned):
        assert part in fits
    assert ("inverted" in fits) == any(turned)
    # Another place of the whole board, or motor leads moved round, is said wherever it would be the plainer reading.
    mates = plainer(spacing, order, turned)
    assert bool(same) == bool(mates)
    if mates:
        assert any(f"{late} degrees" in fits and all(part in same for part in in_words(*mate))
                   for mate, late in mates.items())
        assert ("motor leads moved round" in fits.lower()) == any(
            late in (120, 240) and f"by {late} degrees" in fits for late in mates.values())


@pytest.mark.parametrize("late", [-22.0, 22.0])
@pytest.mark.parametrize("number", range(0, 48, 5))
def test_a_turned_board_does_not_hide_the_wiring(number, late):
    """Leads are 60 degrees apart, so up to half of that may come from a turned board; both are then named."""
    order, turned = WIRINGS[number]
    found = analyse_capture(wired(120, 1, order, turned, late), motor_type(120)).findings
    codes = [cause.code for cause in found]
    assert codes[-1] == "hall_board_rotated"
    assert float(found[-1].text.split(" degrees")[0].split()[-1]) == pytest.approx(late, abs=0.5)
    if changes(order, turned):
        assert all(part in found[0].text for part in in_words(order, turned))
