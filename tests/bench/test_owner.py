"""station.bench.owner: work in order and in one thread, given up for a stop, and no wait for a wedged one."""

import threading
from threading import Event

import pytest

from station.bench.owner import Owner, connection_broke, given_up, no_reply, open_deadline
from station.errors import NoReplyError

LONG = 30.0


@pytest.fixture
def owner():
    made = Owner("oven")
    yield made
    made.end(lambda: None)


def silence():
    return no_reply("oven", "HOT?", 0.1, "nothing")


def test_work_is_done_in_order_by_one_thread_whoever_asks(owner):
    done = []
    for number in range(5):
        owner.after_that(lambda n=number: done.append((n, threading.get_ident())))
    assert owner.do(lambda is_wanted: is_wanted() and "last", LONG, silence) == "last"
    assert [number for number, _ in done] == list(range(5))
    assert len({thread for _, thread in done}) == 1
    assert threading.get_ident() not in {thread for _, thread in done}


@pytest.mark.parametrize("error", [ValueError("odd"), TimeoutError("late"), NoReplyError(
    "no reply", where="x", expected="y", got="z", remedy="w")])
def test_what_work_raises_comes_out(error, owner):
    def fail(_):
        raise error
    with pytest.raises(type(error)) as caught:
        owner.do(fail, LONG, silence)
    # A bare time-out of the work cannot be told from that of the wait, and both mean silence.
    assert caught.value is error or "no reply" in str(caught.value)


def test_a_wedged_thread_is_not_waited_for(owner):
    gate = Event()
    with pytest.raises(NoReplyError, match=r"oven: no reply: expected an answer to HOT\?"):
        owner.do(lambda _: gate.wait(LONG), 0.05, silence)
    gate.set()
    assert owner.do(lambda _: "free", LONG, silence) == "free"


def test_what_waits_when_others_are_given_up_is_wanted_no_more(owner):
    gate, begun, wanted = Event(), Event(), []

    def under_way(is_wanted):
        begun.set()
        gate.wait(LONG)
        wanted.append(is_wanted())
    threads = [threading.Thread(target=owner.do, args=(work, LONG, silence))
               for work in (under_way, lambda is_wanted: wanted.append(is_wanted()))]
    threads[0].start()
    assert begun.wait(LONG)
    threads[1].start()
    while owner._thread._work_queue.empty():    # until the second waits behind the first
        pass
    owner.give_up()
    gate.set()
    for thread in threads:
        thread.join()
    assert wanted == [False, False]
    assert owner.do(lambda is_wanted: is_wanted(), LONG, silence)


def test_the_end_does_the_last_in_its_turn_and_leaves_no_thread():
    before, done = set(threading.enumerate()), []
    owner = Owner("oven")
    owner.after_that(lambda: done.append(1))
    owner.end(lambda: done.append(2))
    assert done == [1, 2]
    assert set(threading.enumerate()) == before


@pytest.mark.parametrize(("deadline", "connecting"), [(0.3, 0.3), (1.0, 1.0), (2.0, 1.0), (4.0, 2.0), (60.0, 30.0)])
def test_connecting_takes_a_second_unless_answers_may_take_longer(deadline, connecting):
    assert open_deadline(deadline) == connecting


def test_each_way_to_lose_contact_says_what_was_asked_and_what_to_do():
    for error in (silence(), connection_broke("oven", "HOT?", ConnectionResetError()), given_up("oven", "HOT?")):
        assert "HOT?" in str(error)
        assert error.where == "oven"
        assert error.remedy.endswith(".")
    assert connection_broke("oven", "HOT?", ConnectionResetError()).got == "ConnectionResetError"
