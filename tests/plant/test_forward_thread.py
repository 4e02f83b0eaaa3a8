"""Handing over beside the tests: the thread goes on by itself, tells what is in its way once, and is soon gone."""

import time
from contextlib import closing, contextmanager
from datetime import UTC, datetime

import numpy as np
import pytest
from faulty_link import faulty_link
from served_plant import Sender, served, write_plant

from station.clock import Clock, system_clock
from station.plant import forward_thread
from station.plant.forward_thread import ForwardThread, HandOverState
from station.plant.hand_over import Progress
from station.plant.stations import add_station

AT = datetime(2026, 11, 26, 3, 0, tzinfo=UTC)
CLOCK = Clock(lambda: AT, time.monotonic, time.sleep)
PATIENCE = 60       # s, after which something will never be


@pytest.fixture(scope="module")
def plant_file(plant_address, tmp_path_factory):
    return write_plant(tmp_path_factory.mktemp("plant"), plant_address("sqlite"))


@pytest.fixture(scope="module")
def desk(plant_file):
    with served(plant_file) as opened:
        yield opened


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    """Look around a hundred times as often as at a line."""
    for name in ("LOOK_AGAIN", "FIRST_PAUSE", "LONGEST_PAUSE"):
        monkeypatch.setattr(forward_thread, name, getattr(forward_thread, name) / 100)


@pytest.fixture
def link(desk, plant_file):
    with faulty_link(desk_port(plant_file)) as carried:
        yield carried


def desk_port(plant_file):
    from station.plant.plant_file import load_plant
    return load_plant(plant_file).port


@pytest.fixture
def sender(desk, plant_file, link, tmp_path, request):
    station = Sender(tmp_path / "store", plant_file, request.node.name, link.port)
    station.known = add_station(desk.database, str(station.key.verifier), person="U. Rabe", at=AT)
    yield station
    station.close()


@contextmanager
def forwarding(sender):
    """The thread at work, and what it tells."""
    told = []
    with ForwardThread(sender.folder, sender.hand_over(), CLOCK, told.append, np.random.default_rng(1)) as thread:
        yield thread, told


def await_state(thread, fits):
    until = time.monotonic() + PATIENCE
    while not fits(thread.state):
        assert time.monotonic() < until, thread.state
        time.sleep(0.005)
    return thread.state


def done(count):
    return lambda state: state == HandOverState(Progress(count, count, count))


def test_what_is_tested_is_handed_over_soon_after(sender):
    with forwarding(sender) as (thread, told):
        for count in (1, 2, 3):
            sender.test(f"CP40-{count}")
            await_state(thread, done(count))
    assert told == []


def test_a_cut_network_is_told_once_and_what_was_tested_meanwhile_follows(sender, link):
    sender.test("CP40-1")
    with forwarding(sender) as (thread, told):
        await_state(thread, done(1))
        link.cut()
        sender.fill(3)
        state = await_state(thread, lambda state: state.silent_since is not None)
        assert (state.silent_since, state.trouble, state.is_fork) == (AT, "", False)
        cut = len(link.seen)
        await_state(thread, lambda _state: len(link.seen) > cut + 3)
        link.mend()
        await_state(thread, done(4))
    assert len(told) == 1
    assert "the plant gave no answer" in told[0]


def test_the_end_waits_for_the_last_entry_but_not_for_a_plant_that_is_away(sender, link, monkeypatch):
    monkeypatch.setattr(forward_thread, "LOOK_AGAIN", 2 * PATIENCE)     # the end alone makes it look
    monkeypatch.setattr(forward_thread, "FIRST_PAUSE", 2 * PATIENCE)
    sender.test("CP40-1")
    with forwarding(sender) as (thread, _):
        await_state(thread, done(1))
        sender.test("CP40-2")
    assert thread.state == HandOverState(Progress(2, 2, 2))
    link.cut()
    sender.test("CP40-3")
    with forwarding(sender) as (thread, _):
        await_state(thread, lambda state: state.silent_since is not None)
        asked = len(link.seen)
    assert len(link.seen) == asked
    assert sender.hand_over().progress() == Progress(3, 2, 2)


def test_a_fork_and_an_alarm_are_shown_until_they_are_over(sender, tmp_path):
    sender.test("CP40-1")
    image = sender.image(tmp_path / "image")
    sender.test("CP40-2")
    sender.work()
    sender.set_back(image)
    with forwarding(sender) as (thread, told):
        state = await_state(thread, lambda state: state.is_fork)
        assert "set back" in state.trouble
        sender.test("CP40-3")
        await_state(thread, lambda state: state.is_fork and "is another than" in state.trouble)
    assert len(told) == 2


def test_a_plant_that_does_not_know_the_station_is_trouble_for_a_person(plant_file, link, tmp_path):
    with closing(Sender(tmp_path / "store", plant_file, "line-of-nobody", link.port)) as stranger:
        stranger.test("CP40-1")
        with forwarding(stranger) as (thread, told):
            state = await_state(thread, lambda state: state.trouble)
    assert (state.silent_since, state.is_fork) == (None, False)
    assert "station plant add" in told[0]


def test_a_store_that_is_not_there_yet_is_waited_for(desk, plant_file, link, tmp_path):
    with closing(Sender(tmp_path / "store", plant_file, "line-that-begins", link.port)) as sender:
        add_station(desk.database, str(sender.key.verifier), person="U. Rabe", at=AT)
        sender.close()
        (tmp_path / "store").rename(tmp_path / "aside")
        with forwarding(sender) as (thread, told):
            time.sleep(0.1)
            assert thread.state == HandOverState()
            (tmp_path / "aside").rename(tmp_path / "store")
            sender.open()
            sender.test("CP40-1")
            await_state(thread, done(1))
    assert told == []


def test_while_another_process_hands_over_this_one_looks_on(sender):
    sender.test("CP40-1")
    with forwarding(sender) as (thread, told), forwarding(sender) as (second, _):
        await_state(thread, done(1))
        await_state(second, done(1))
        sender.test("CP40-2")
        await_state(thread, done(2))
        await_state(second, done(2))
    assert told == []


def test_a_defect_ends_the_thread_and_is_told(sender, monkeypatch):
    sender.test("CP40-1")
    monkeypatch.setattr(sender.hand_over().__class__, "work", lambda *_words: 1 / 0)
    with forwarding(sender) as (thread, told):
        await_state(thread, lambda state: "ZeroDivisionError" in state.trouble)
    assert "Report this as a defect" in told[0]


def test_attempts_of_stations_are_spread(sender):
    pauses = []
    for seed in range(50):
        thread = ForwardThread(sender.folder, sender.hand_over(), system_clock(), print, np.random.default_rng(seed))
        pauses.append([thread._failed(HandOverState()) for _ in range(12)])
    first, last = ([row[place] for row in pauses] for place in (0, -1))
    assert 0.5 * forward_thread.FIRST_PAUSE <= min(first) < max(first) <= forward_thread.FIRST_PAUSE
    assert max(last) <= forward_thread.LONGEST_PAUSE
    assert min(last) >= 0.5 * forward_thread.LONGEST_PAUSE
    assert len(set(first)) == 50
