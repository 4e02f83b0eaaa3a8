"""station.sequence.workers: everything in order, one thread each, nothing lost and no thread left."""

import threading
from threading import Event, Timer
from time import sleep

import pytest

from station.sequence.workers import at_work


def test_each_worker_does_one_thing_after_the_other_in_a_thread_of_its_own():
    done = []
    with at_work() as workers:
        for number in range(50):
            for name in ("carrier", "analyst", "archivist"):
                getattr(workers, name).submit(lambda n=number, w=name: done.append((w, n, threading.get_ident())))
        workers.finish()
    for name in ("carrier", "analyst", "archivist"):
        own = [entry for entry in done if entry[0] == name]
        assert [number for _, number, _ in own] == list(range(50))
        assert len({thread for *_, thread in own}) == 1
    assert len({thread for *_, thread in done}) == 3


def test_the_workers_do_not_wait_for_one_another():
    with at_work() as workers:
        carried = Event()
        waiting = workers.analyst.submit(carried.wait, 30.0)
        workers.carrier.submit(carried.set)
        assert waiting.result(30.0)


def test_finishing_waits_for_what_one_worker_hands_to_the_next():
    done = []
    with at_work() as workers:
        gate = Event()

        def carry():
            gate.wait(30.0)
            workers.analyst.submit(analyse)

        def analyse():
            sleep(0.1)
            workers.archivist.submit(done.append, "kept")
            done.append("analysed")
        workers.carrier.submit(carry)
        Timer(0.1, gate.set).start()
        workers.finish()
        assert sorted(done) == ["analysed", "kept"]


def test_finishing_is_not_stopped_by_work_that_failed():
    with at_work() as workers:
        failed = workers.carrier.submit(lambda: 1 / 0)
        kept = workers.archivist.submit(lambda: "kept")
        workers.finish()
        assert kept.done()
        with pytest.raises(ZeroDivisionError):
            failed.result()


def test_no_thread_is_left_whatever_happens_inside():
    before = set(threading.enumerate())

    def fail():
        with at_work() as workers:
            workers.carrier.submit(lambda: None)
            raise RuntimeError
    with pytest.raises(RuntimeError):
        fail()
    assert set(threading.enumerate()) == before
