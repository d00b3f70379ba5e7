"""How long a user waits at most after pressing cancel, and how much memory is taken at the peak.

Each case runs in a process of its own; its ticks (for algorithms: looks at the feedback) are
stamped, and the longest time between two of them, and before the first and after the last, is the
longest gap: by the clock, which a busy machine stretches, and in seconds of the processor, which
count each thread that works. `--only WORD` runs the cases whose name holds the word; `--list` names
them; `--where` adds the lines of the ticks around the three longest gaps.
"""
import argparse
import json
import subprocess
import sys

import gap_cases_algorithms
import gap_cases_core
from gap_stamps import CASES, Stamps, peak_mb

__all__ = ["gap_cases_algorithms", "gap_cases_core"]  # they register their cases


def measure(name):
    """Run one case here and print what was measured as JSON."""
    stamps = Stamps()
    CASES[name](stamps)
    print(json.dumps({**stamps.report(), "peak_mb": peak_mb()}))


def main():
    """Run the cases asked for, each in a process of its own, and print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", default="", help="run the cases whose name holds this")
    parser.add_argument("--case", help="run this one case here, and print JSON")
    parser.add_argument("--list", action="store_true", help="name the cases and end")
    parser.add_argument("--where", action="store_true", help="say between which lines it was")
    arguments = parser.parse_args()
    if arguments.case:
        return measure(arguments.case)
    chosen = [name for name in CASES if arguments.only in name]
    if arguments.list:
        print("\n".join(chosen))
        return None
    print(f"{'case':58} {'gap, s':>7} {'CPU gap':>8} {'at':>5} {'all, s':>7} {'CPU, s':>7} "
          f"{'ticks':>6} {'peak, MB':>9}")
    for name in chosen:
        done = subprocess.run([sys.executable, "-W", "ignore", __file__, "--case", name],
                              capture_output=True, text=True, check=False)
        if done.returncode:
            print(f"{name:58} failed: {done.stderr.strip().splitlines()[-1]}", flush=True)
            continue
        found = json.loads(done.stdout.strip().splitlines()[-1])
        print(f"{name:58} {found['gap_s']:7.2f} {found['cpu_gap_s']:8.2f} {found['at']:5.0%} "
              f"{found['seconds']:7.1f} {found['cpu_seconds']:7.1f} {found['ticks']:6} "
              f"{found['peak_mb']:9.0f}", flush=True)
        for used, before, after in found["longest"] if arguments.where else ():
            print(f"    {used:.2f} s from {before or 'outside'} to {after or 'outside'}",
                  flush=True)
    return None


if __name__ == "__main__":
    main()
