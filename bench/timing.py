"""What the benchmarks share: seconds of one task, and a peer that runs in R."""
import shutil
import statistics
import subprocess
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np


def median_seconds(work, times):
    """Return the median wall-clock seconds of `times` runs, after one that warms up."""
    work()
    return statistics.median(seconds_of(work) for _ in range(times))


def seconds_of(work):
    """Return the wall-clock seconds of one run."""
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


def in_r(script, tables, *arguments):
    """Return the rows of figures that an R script prints, as arrays; None where it cannot run.

    Parameters
        script     its text; it is given the paths of the tables, then the arguments
        tables     arrays (n, 2) or (n, 3), handed over as CSV files with columns x, y, z
        arguments  texts or numbers
    """
    if shutil.which("Rscript") is None:
        return None
    with TemporaryDirectory() as folder:
        paths = [Path(folder) / f"{number}.csv" for number in range(len(tables))]
        for path, table in zip(paths, tables):
            np.savetxt(path, table, "%.17g", ",", header="x,y,z"[:2 * table.shape[1] - 1],
                       comments="")
        program = Path(folder) / "peer.R"
        program.write_text(script)
        done = subprocess.run(["Rscript", program, *paths, *map(str, arguments)],
                              capture_output=True, text=True)
    if done.returncode:
        return None
    return [np.array(line.split(), float) for line in done.stdout.splitlines()]
