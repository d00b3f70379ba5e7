"""Import of yield points: seconds, memory, and what a kill leaves.

Seconds of the processor stand beside those of the clock, which a busy machine stretches.
A CSV of N invented yield records is imported into a fresh record in a process of its own, whose
peak memory is read. First a small import is compared value by value with what was written. With
--kills K, K imports are killed at moments spread at random over the run; after each the record
must be sound and hold all rows of the batch or none.
"""
import argparse
import csv
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from plugin.record.read import open_record

ROOT = Path(__file__).parents[1]
PASS = 1000  # records in one pass
SAMPLE = ROOT / "sample_project" / "sample_field.gpkg"
WORK = """
import resource, sys, time
from plugin.record.intake.importing import Wish, import_readings
steps = [time.perf_counter()]
def tick(fraction):
    steps.append(time.perf_counter())
print("ready", flush=True)
started, used = time.perf_counter(), time.process_time()
done = import_readings(sys.argv[1], sys.argv[2], Wish("yield_points"), tick)
seconds, used = time.perf_counter() - started, time.process_time() - used
gaps = [after - before for before, after in zip(steps[1:], steps[2:])]
print(seconds, used, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, done.rows,
      done.imported, len(done.set_aside), max(gaps), flush=True)
"""


def write_yields(path, count, seed=1):
    """Write `count` invented yield records, in passes up and down; return their moistures."""
    generator = np.random.default_rng(seed)
    passes, along = np.divmod(np.arange(count), PASS)
    along = np.where(passes % 2, PASS - 1 - along, along) + 0.2 * generator.random(count)
    east, north = -93.4997 + 7.2e-5 * passes, 42.0008 + 1.8e-5 * along  # some 6 m and 2 m
    flow, moisture = 20 + 5 * generator.random(count), 15 + 3 * generator.random(count)
    start = np.datetime64("2025-10-05T09:00:00")
    times = np.datetime_as_string(start + np.arange(count), unit="s")
    with open(path, "w", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(["Longitude", "Latitude", "Time stamp", "Flow (lb/s)", "Moisture (%)",
                       "Interval (s)", "Distance (ft)", "Swath (ft)", "Pass", "Crop",
                       "Yield (bu/ac)"])
        for n in range(count):
            rows.writerow([f"{east[n]:.8f}", f"{north[n]:.8f}", times[n].replace("T", " "),
                           f"{flow[n]:.3f}", f"{moisture[n]:.2f}", 1, 6.5, 20, passes[n], "corn",
                           f"{8 * flow[n]:.2f}"])
    return np.round(moisture, 2)


def started(record, source):
    """A process that is about to import."""
    process = subprocess.Popen([sys.executable, "-W", "ignore", "-c", WORK, record, source],
                               cwd=ROOT, stdout=subprocess.PIPE, text=True,
                               env={**os.environ, "QT_QPA_PLATFORM": "offscreen"})
    if process.stdout.readline() != "ready\n":
        raise SystemExit("the import could not be started")
    return process


def rows_in(record):
    """How many yield points a record holds, once it is seen to be sound and to open."""
    opened = open_record(record, only=()).counts["yield_points"]
    with closing(sqlite3.connect(record)) as database:
        sound = database.execute("PRAGMA integrity_check").fetchall()
        count = database.execute("SELECT count(*) FROM yield_points").fetchone()[0]
        indexed = database.execute("SELECT count(*) FROM rtree_yield_points_geom").fetchone()[0]
        traced = database.execute("SELECT count(*) FROM imported_rows").fetchone()[0] \
            if count else 0
    if sound != [("ok",)] or not opened == indexed == count == traced:
        raise SystemExit(f"{record}: integrity {sound[:2]}, {count} rows, {opened} when opened, "
                         f"{indexed} in the index, {traced} traced")
    return count


def fresh(folder, name):
    """A record without yield points."""
    return shutil.copyfile(SAMPLE, Path(folder) / name)


def check(folder):
    """Compare a small import with what was written."""
    record, source = fresh(folder, "check.gpkg"), Path(folder) / "check.csv"
    moistures = write_yields(source, 2000)
    started(record, source).communicate()
    with closing(sqlite3.connect(record)) as database:
        found = [row[0] for row in database.execute(
            "SELECT moisture FROM yield_points ORDER BY fid")]
    if not np.array_equal(found, moistures):
        raise SystemExit("the moistures that arrived are not those written")


def kills(folder, count, rows):
    """Kill `count` imports of `rows` rows at random moments; print how they ended."""
    source = Path(folder) / "kill.csv"
    write_yields(source, rows)
    before = time.perf_counter()
    started(fresh(folder, "whole.gpkg"), source).communicate()
    whole_s = time.perf_counter() - before
    generator, all_of_it, none, journals = np.random.default_rng(2), 0, 0, 0
    for number in range(count):
        record = fresh(folder, f"killed-{number}.gpkg")
        process = started(record, source)
        time.sleep(generator.random() * whole_s)
        process.send_signal(signal.SIGKILL)
        process.communicate()
        journals += Path(f"{record}-journal").exists()
        there = rows_in(record)
        if there not in (0, rows):
            raise SystemExit(f"{there} of {rows} rows are there after a kill")
        all_of_it, none = all_of_it + (there == rows), none + (there == 0)
    print(f"{count} kills within {whole_s:.1f} s of an import of {rows:,} rows: record sound "
          f"each time, nothing there {none}, all there {all_of_it}; killed while it wrote "
          f"{journals}")


def main():
    """Print the table of times, then that of the kills."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rows", type=int, nargs="*", default=[100_000, 1_000_000])
    parser.add_argument("--kills", type=int, default=0)
    parser.add_argument("--kill-rows", type=int, default=40_000)
    given = parser.parse_args()
    with TemporaryDirectory() as folder:
        check(folder)
        print(f"{'rows':>9} {'seconds':>8} {'CPU s':>6} {'MB':>6} {'record MB':>10} "
              f"{'longest step s':>15}")
        for count in given.rows:
            record, source = fresh(folder, "big.gpkg"), Path(folder) / "big.csv"
            write_yields(source, count)
            told = started(record, source).communicate()[0].split()
            seconds, used, peak, rows, imported, aside, gap = map(float, told)
            if not rows == imported == count or aside or rows_in(record) != count:
                raise SystemExit(f"{imported:.0f} of {count} rows arrived")
            print(f"{count:>9,} {seconds:>8.1f} {used:>6.1f} {peak:>6.0f} "
                  f"{record.stat().st_size / 2**20:>10.0f} {gap:>15.2f}")
        if given.kills:
            kills(folder, given.kills, given.kill_rows)


if __name__ == "__main__":
    main()
