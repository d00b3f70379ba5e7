"""Parts of one piece of work in several threads, with progress told as they end."""
import os
from concurrent.futures import ThreadPoolExecutor

THREADS = min(4, os.cpu_count() or 1)


def in_threads(work, parts, tick=None, *, share_of=None):
    """Call `work` with each part, in THREADS threads, and tell the share of parts done in order.

    An exception, also one that `tick` raises, ends it: parts not yet begun are left.

    Parameters
        work      function of one part; what it returns is dropped
        parts     list
        tick      called with the fraction done after each part; may raise Stopped
        share_of  function of a part's number, counted from 1, that gives the fraction; None:
                  each part counts the same
    """
    share_of = share_of or (lambda number: number / len(parts))
    with ThreadPoolExecutor(THREADS) as pool:
        try:
            for number, _ in enumerate(pool.map(work, parts), start=1):
                if tick is not None:
                    tick(share_of(number))
        except BaseException:  # Stopped and Ctrl+C too; handed on
            pool.shutdown(wait=True, cancel_futures=True)
            raise
