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
    with _folder_beside(path) as folder:
        yield folder / path.name
        _move_all([(folder, path)])


@contextmanager
def all_beside(paths):
    """Give for each of several paths one beside it; move all into place once all are written.

    An empty path is given back as it is: an output that was not asked for. On an exception, also
    one that a tick raises between two files, none is moved and nothing stays. Where one cannot be
    moved, those before it are taken back, and what they replaced is there again.

    Raises   InputProblem: as beside
    """
    with ExitStack() as until:
        moves = [path and (until.enter_context(_folder_beside(Path(path))), Path(path))
                 for path in paths]
        yield [move and str(move[0] / move[1].name) for move in moves]
        _move_all([move for move in moves if move])


@contextmanager
def _folder_beside(path):
    if is_record(path):
        raise InputProblem(f"{path.name} is a field record, and a record is never overwritten. "
                           "Choose another name.")
    try:
        folder = Path(mkdtemp(prefix=".spadework-", dir=path.parent))
    except OSError as problem:
        raise InputProblem(f"{path.name} cannot be written to {path.parent}: {problem.strerror}. "
                           "Choose a folder that is there and can be written to.") from problem
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _move_all(moves):
    """Move all that folders hold to the places of their paths, or leave all as it was."""
    with ExitStack() as back:  # the way back, last step first
        for folder, path in moves:
            try:
                _move(folder, path, back)
            except OSError as problem:
                raise InputProblem(f"{path.name} could not be put in its place: "
                                   f"{problem.strerror}. Close it where it is open, or choose "
                                   "another name.") from problem
        back.pop_all()


def _move(folder, path, back):
    made, kept = sorted(folder.iterdir()), Path(mkdtemp(dir=folder))
    for old in _stale(path):
        if old.exists():
            _keep(old, kept, back)
            old.unlink()
    for one in made:
        place = path.parent / one.name
        if os.path.lexists(place):
            _keep(place, kept, back)
            os.replace(one, place)  # in one step: at any moment the old file is there, or the new
        else:
            os.replace(one, place)
            back.callback(os.replace, place, one)


def _stale(path):
    return [*(path.with_name(path.name + end) for end in STALE),
            *(path.with_suffix(end) for end in STALE_OF_SHAPEFILE
              if path.suffix.lower() == ".shp")]


def _keep(old, kept, back):
    """Keep a file under a second name, and put it back in its place on the way back."""
    try:
        os.link(old, kept / old.name)
    except OSError:  # a drive without second names
        shutil.copy2(old, kept / old.name)
    back.callback(os.replace, kept / old.name, old)
