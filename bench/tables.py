"""What benchmarks of decisions share: fields worked on at once, one table alone on request."""
import argparse
from concurrent.futures import ProcessPoolExecutor


def print_tables(about, tables):
    """Print each table, or the one that the command line names.

    Parameters
        about   what --help says
        tables  dict of a name to a function of the options, and of a function that returns the
                list of what a function of a field's number gives for so many fields
    """
    options = argparse.ArgumentParser(description=about)
    options.add_argument("--fields", type=int, default=200)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--table", choices=tables)
    options.add_argument("--processes", type=int, default=2)
    options = options.parse_args()
    with ProcessPoolExecutor(options.processes) as pool:
        def run(one, fields):
            return list(pool.map(one, range(fields), chunksize=4))
        for name, table in tables.items():
            if options.table in (None, name):
                table(options, run)
