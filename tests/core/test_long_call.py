from threading import Event, current_thread, main_thread

import pytest

from plugin.core.long_call import long_call
from plugin.core.problems import InputProblem, Stopped


def test_the_caller_looks_while_the_work_runs_elsewhere():
    looked, told = Event(), []

    def work():
        assert looked.wait(60)  # ends only once the caller has looked while it ran
        return current_thread()

    def tick(fraction):
        told.append(fraction)
        if len(told) == 3:
            looked.set()

    assert long_call(work, tick, 0.4) is not main_thread()
    assert len(told) >= 3 and set(told) == {0.4}


def test_without_a_tick_the_work_runs_where_it_is_called():
    assert long_call(current_thread) is current_thread()


def test_what_the_work_raises_reaches_the_caller():
    def work():
        raise InputProblem("no cell is left")
    for tick in (None, lambda fraction: None):
        with pytest.raises(InputProblem, match="no cell is left"):
            long_call(work, tick)


def test_a_stop_leaves_at_once_and_drops_what_the_work_makes():
    begun, may_end, ended = Event(), Event(), Event()

    def work():
        begun.set()
        may_end.wait(60)
        ended.set()

    def tick(_fraction):
        if begun.is_set():
            raise Stopped

    with pytest.raises(Stopped):
        long_call(work, tick)
    assert not ended.is_set()  # the caller did not wait for it
    may_end.set()
    assert ended.wait(60)


def test_a_stop_before_the_work_begins_keeps_it_from_beginning():
    done = []

    def tick(_fraction):
        raise Stopped

    with pytest.raises(Stopped):
        long_call(lambda: done.append(1), tick)
    assert done == []
