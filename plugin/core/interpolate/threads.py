"""Parts of one piece of work in several threads, with progress told as they end."""
import os
import threading
from collections import deque
from concurrent.futures import ThreadPoolExecutor
from itertools import count

THREADS = min(4, os.cpu_count() or 1)
AHEAD = 3 * THREADS  # parts begun or waiting, so that no thread does while parts are made or told


class OfThread:
    """Something that each thread that asks has one of, such as memory to work in.

    Parameters
        make  function that makes one
    """

    def __init__(self, make):
        self._make, self._kept = make, threading.local()

    def __call__(self):
        """Return the one of the thread that asks."""
        if not hasattr(self._kept, "one"):
            self._kept.one = self._make()
        return self._kept.one


def in_turn(work, parts, then):
    """Call `work` with each part, in THREADS threads, and `then` with what it returns, in order.

    An exception, also one that `then` raises, ends it: parts not yet begun are left.

    Parameters
        work   function of one part
        parts  iterable; only AHEAD of its parts are asked for before they are needed
        then   function of what `work` returns, called in this thread
    """
    begun = deque()
    with ThreadPoolExecutor(THREADS) as pool:
        try:
            for part in parts:
                begun.append(pool.submit(work, part))
                if len(begun) == AHEAD:
                    then(begun.popleft().result())
            while begun:
                then(begun.popleft().result())
        except BaseException:  # Stopped and Ctrl+C too; handed on
            pool.shutdown(wait=True, cancel_futures=True)
            raise


def in_threads(work, parts, tick=None, *, share_of=None):
    """Call `work` with each part, in THREADS threads, and tell the share of parts done in order.

    An exception, also one that `tick` raises, ends it: parts not yet begun are left.

    Parameters
        work      function of one part; what it returns is dropped
        parts     sequence
        tick      called with the fraction done after each part; may raise Stopped
        share_of  function of a part's number, counted from 1, that gives the fraction; None:
                  each part counts the same
    """
    share_of, numbers = share_of or (lambda number: number / len(parts)), count(1)
    in_turn(work, parts, lambda _: tick and tick(share_of(next(numbers))))
