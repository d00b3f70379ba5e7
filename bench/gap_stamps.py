"""Stamps of the moments at which a long step looks for a cancel, and the register of cases."""
import resource
import sys
import time

import numpy as np

CASES = {}
FURTHER = 3  # gaps that `--where` tells of


class Stamps:
    """Seconds of the clock and of the processor at each tick, and the longest gap between two."""

    def __init__(self):
        self.begin()

    def begin(self):
        """Forget what was before, as a case does once its inputs are there."""
        self.times, self.used, self.places = [], [], []
        self()

    def __call__(self, _fraction=None):
        self.times.append(time.perf_counter())
        self.used.append(time.process_time())
        self.places.append(_place(sys._getframe(1)))

    def report(self):
        """Return seconds of the longest gap by clock and by processor, where it was, and in all.

        "longest" has of each of the FURTHER longest gaps the processor's seconds and the lines of
        the two ticks around it.
        """
        self()
        gaps, used = np.diff(self.times), np.diff(self.used)
        longest = np.argsort(-used)[:FURTHER].tolist()
        whole = self.times[-1] - self.times[0]
        return {"gap_s": gaps.max(), "cpu_gap_s": used.max(),
                "at": (self.times[longest[0]] - self.times[0]) / whole, "seconds": whole,
                "cpu_seconds": self.used[-1] - self.used[0], "ticks": len(self.times) - 2,
                "longest": [(used[at], self.places[at], self.places[at + 1]) for at in longest]}


def _place(frame):
    """The line of the plugin nearest to a tick, file and number; "" outside it."""
    while frame is not None:
        path = frame.f_code.co_filename
        if "/plugin/" in path and frame.f_code.co_name not in ("tick", "<lambda>"):
            return f"{path.split('/plugin/')[-1]}:{frame.f_lineno}"
        frame = frame.f_back
    return ""


def case(function):
    """Name a case after its function."""
    CASES[function.__name__.strip("_").replace("_", " ")] = function
    return function


def peak_mb():
    """Largest memory that this process has taken, MB (Linux counts in kB)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
