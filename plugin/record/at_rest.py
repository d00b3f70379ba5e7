"""A record's file as it is at rest: a copy of it with all that SQLite has yet to bring in."""
import hashlib
import sqlite3
from contextlib import closing

from ..core.problems import InputProblem
from .sqlite_looks import looking

SIDE_FILES = ("-wal", "-journal")  # what SQLite has yet to bring into the file itself
CHUNK = 16 << 20  # bytes between two ticks: some 20 ms


def copy_at_rest(path, copy, *, tick=None):
    """Copy a GeoPackage to a plain file of its own, with what SQLite has yet to bring into it.

    `tick` is called with the fraction done; it may raise Stopped.

    Raises   InputProblem: another program is writing it, or it is damaged
    """
    parts = [path] + [beside for beside in (path.with_name(path.name + end) for end in SIDE_FILES)
                      if beside.exists() and beside.stat().st_size]
    before = [(part.stat().st_mtime_ns, part.stat().st_size) for part in parts]
    size, done = sum(size for _, size in before) or 1, 0
    for part in parts:
        with open(f"{copy}{part.name[len(path.name):]}", "wb") as written:
            for chunk in chunks_of(part):
                written.write(chunk)
                done += len(chunk)
                if tick is not None:
                    tick(min(done / size, 1.0))
    if before != [(part.stat().st_mtime_ns, part.stat().st_size)
                  for part in parts if part.exists()]:
        raise InputProblem(f"{path.name} is being written to just now. Try again when the other "
                           "program has saved it.")
    if len(parts) > 1:
        try:
            with closing(sqlite3.connect(copy)) as database, looking(database, tick, 1.0):
                database.execute("PRAGMA journal_mode = delete").fetchall()
        except sqlite3.DatabaseError as problem:
            raise InputProblem(f"{path.name} is not a GeoPackage that can be read: "
                               f"{problem}.") from problem


def sha256_of(path, *, tick=None):
    """Return the SHA-256 of a file's bytes, hexadecimal.

    `tick` is called with the fraction done; it may raise Stopped.
    """
    digest, size, done = hashlib.sha256(), path.stat().st_size or 1, 0
    for chunk in chunks_of(path):
        digest.update(chunk)
        done += len(chunk)
        if tick is not None:
            tick(min(done / size, 1.0))
    return digest.hexdigest()


def chunks_of(path):
    """Yield the bytes of a file, CHUNK at a time."""
    with open(path, "rb") as file:
        yield from iter(lambda: file.read(CHUNK), b"")
