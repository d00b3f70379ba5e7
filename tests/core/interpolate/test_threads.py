import threading

import pytest

from plugin.core.interpolate.threads import AHEAD, THREADS, OfThread, in_threads, in_turn
from plugin.core.problems import Stopped


def test_each_thread_has_one_of_its_own():
    made, of_thread = [], OfThread(lambda: made.append([]) or made[-1])
    assert of_thread() is of_thread()
    other = threading.Thread(target=lambda: of_thread().append("other"))
    other.start()
    other.join()
    assert made == [[], ["other"]]


def test_results_come_in_the_order_of_the_parts_whichever_ends_first():
    later_has_ended = threading.Event()

    def work(part):
        if part == 0 and THREADS > 1:
            assert later_has_ended.wait(10)
        if part == 1:
            later_has_ended.set()
        return part * part

    found = []
    in_turn(work, range(50), found.append)
    assert found == [part * part for part in range(50)]


def test_only_a_few_parts_are_asked_for_ahead():
    asked, furthest = [], []

    def parts():
        for part in range(20 * AHEAD):
            asked.append(part)
            yield part

    in_turn(lambda part: part, parts(), lambda part: furthest.append(asked[-1] - part))
    assert max(furthest) < AHEAD


def test_without_parts_nothing_is_done():
    in_turn(None, [], None)
    in_threads(None, [])


@pytest.mark.parametrize("fails", ["work", "then"])
def test_what_fails_is_handed_on_and_later_parts_are_left(fails):
    begun = []

    def work(part):
        begun.append(part)
        if fails == "work" and part == 3:
            raise ValueError("part 3")

    def then(_):
        if fails == "then" and len(begun) > 3:
            raise ValueError("part 3")

    with pytest.raises(ValueError, match="part 3"):
        in_turn(work, range(1000), then)
    assert len(begun) <= 4 + AHEAD + THREADS


def test_shares_rise_to_one_and_a_stop_ends_the_work():
    told = []
    in_threads(lambda part: part, range(4), told.append)
    assert told == [0.25, 0.5, 0.75, 1]
    told.clear()
    in_threads(lambda part: part, range(4), told.append, share_of=lambda number: number**2 / 16)
    assert told == [1 / 16, 4 / 16, 9 / 16, 1]

    def tick(_):
        raise Stopped
    begun = []
    with pytest.raises(Stopped):
        in_threads(begun.append, range(1000), tick)
    assert len(begun) < 1000
