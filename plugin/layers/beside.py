"""Files written beside their place and moved there at the end, so that none is ever half made."""
import os
import shutil
import sqlite3
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path
from tempfile import mkdtemp

from ..core.problems import InputProblem

# What programs keep beside a file and what would be wrong beside a new one: SQLite's unfinished
# business, GDAL's statistics, the search trees of shapefiles.
STALE = ("-wal", "-shm", "-journal", ".aux.xml")
STALE_OF_SHAPEFILE = (".qix", ".sbn", ".sbx")
OF_A_RECORD = ("SELECT count(*) = 3 FROM sqlite_master WHERE type = 'table' AND name IN "
               "('field', 'stand_counts', 'compaction_profile')")


def is_record(path):
    """Whether a file holds the tables of a field record; looking leaves nothing beside it."""
    if path.suffix.lower() != ".gpkg" or not path.is_file():
        return False
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro&immutable=1",
                                     uri=True)) as database:
            return bool(database.execute(OF_A_RECORD).fetchone()[0])
    except sqlite3.Error:  # no database, so no record
        return False


@contextmanager
def beside(path):
    """Give a path of the same name in a folder beside `path`; move it into place at the end.

    Files made together with it (the parts of a shapefile) go along; what belonged to a file that
    is replaced, such as its statistics, goes. On an exception nothing is moved and nothing stays.

    Raises   InputProblem: the folder is not there or cannot be written to, or `path` is a record
    """
    path = Path(path)
    if is_record(path):
        raise InputProblem(f"{path.name} is a field record, and a record is never overwritten. "
                           "Choose another name.")
    try:
        folder = Path(mkdtemp(prefix=".spadework-", dir=path.parent))
    except OSError as problem:
        raise InputProblem(f"{path.name} cannot be written to {path.parent}: {problem.strerror}. "
                           "Choose a folder that is there and can be written to.") from problem
    try:
        yield folder / path.name
        _move(folder, path)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@contextmanager
def all_beside(paths):
    """Give for each of several paths one beside it; move all into place once all are written.

    An empty path is given back as it is: an output that was not asked for. On an exception, also
    one that a tick raises between two files, none is moved and nothing stays.

    Raises   InputProblem: as beside
    """
    with ExitStack() as until:
        yield [path and str(until.enter_context(beside(path))) for path in paths]


def _move(folder, path):
    try:
        for end in STALE:
            path.with_name(path.name + end).unlink(missing_ok=True)
        for end in STALE_OF_SHAPEFILE if path.suffix.lower() == ".shp" else ():
            path.with_suffix(end).unlink(missing_ok=True)
        for made in sorted(folder.iterdir()):
            os.replace(made, path.parent / made.name)
    except OSError as problem:
        raise InputProblem(f"{path.name} could not be put in its place: {problem.strerror}. Close "
                           "it where it is open, or choose another name.") from problem
