"""The guard watch on the embedded bench: it stops the drive by itself, and waits behind nobody."""

from threading import Thread

import pytest

from station.errors import BenchError, NoReplyError, StoppedError

SPEED = 200.0   # rad/s


@pytest.fixture
def turning(open_embedded, wait_until):
    """The shaft at speed."""
    with open_embedded() as (bench, rig, served, clock):
        rig.place("CP40-0001")
        bench.guard.arm()
        rig.press_start()
        bench.drive.enable()
        bench.drive.spin(SPEED, 1e4)
        wait_until(bench.drive.is_settled, clock)
        yield bench, rig, served, clock


def is_stopped(rig):
    return not rig.shaft.enabled and abs(rig.shaft.speed_rpm(rig.now() + 60.0)) < 1.0


@pytest.mark.parametrize("open_it", [lambda rig: rig.open_guard(),
                                     lambda rig: setattr(rig, "emergency_stop_healthy", False)],
                         ids=["guard", "emergency stop"])
def test_stops_the_drive_at_the_look_after_the_one_under_way(open_it, turning, wait_until):
    bench, rig, _, clock = turning
    with bench.watch_guard() as watch:
        wait_until(lambda: watch.looks >= 3, clock)
        watch.require_closed()
        before = watch.looks
        open_it(rig)
        wait_until(lambda: watch.looks > before and watch.trouble is not None, clock)
    assert watch.looks - before <= 2    # one may have been under way
    assert watch.unsafe == []
    assert is_stopped(rig)
    with pytest.raises(StoppedError):
        watch.require_closed()


def test_a_drive_that_would_go_on_is_told_to_stop(turning, wait_until):
    """Without the hard-wired part: the input reads open while the drive still has torque."""
    bench, rig, _, clock = turning
    rig._guard.closed = False   # the contact alone, as a loose wire of the input card
    assert rig.shaft.enabled
    with pytest.raises(StoppedError), bench.watch_guard():
        pass    # before anything moves it refuses to begin
    rig._guard.closed = True
    with bench.watch_guard() as watch:
        rig._guard.closed = False
        wait_until(lambda: watch.trouble is not None, clock)
    assert is_stopped(rig)


def test_waits_behind_no_question_to_another_instrument(turning, wait_until):
    bench, rig, served, clock = turning
    raised = []

    def ask():
        try:
            bench.digitizer.session.ask("STAT:OPER:COND?", 60.0)
        except NoReplyError as error:
            raised.append(error)

    served.silence("digitizer", 3600.0)
    asking = Thread(target=ask)
    asking.start()
    with bench.watch_guard() as watch:
        rig.open_guard()
        wait_until(lambda: watch.trouble is not None, clock)
    assert is_stopped(rig)
    assert asking.is_alive()
    bench.digitizer.session.give_up()
    asking.join()
    assert len(raised) == 1
    served.silence("digitizer", 0.0)


def test_a_guard_that_does_not_answer_counts_as_open(turning, wait_until):
    bench, rig, served, clock = turning
    with bench.watch_guard() as watch:
        served.silence("guard", 3600.0)
        wait_until(lambda: watch.trouble is not None, clock)
    assert is_stopped(rig)
    with pytest.raises(BenchError, match="no reply"):
        watch.require_closed()
    served.silence("guard", 0.0)


def test_insulation_voltage_is_switched_off_too(station, wait_until):
    bench, rig, _, clock = station
    bench.insulation.apply(500.0, 0.1)
    with bench.watch_guard() as watch:
        rig._guard.closed = False   # the contact alone: the voltage is still on
        wait_until(lambda: watch.trouble is not None, clock)
    rig._guard.closed = True
    assert rig._insulation.voltage(rig.now() + 5.0) < 25.0


def test_nothing_happens_while_the_guard_stays_closed(turning, wait_until):
    bench, rig, _, clock = turning
    with bench.watch_guard() as watch:
        wait_until(lambda: watch.looks >= 5, clock)
    watch.require_closed()
    assert rig.shaft.enabled
