"""Looks for a cancel while SQLite works on one statement."""
import sqlite3
from contextlib import contextmanager

STEPS = 100_000  # of SQLite's machine between two ticks: some 10 ms


@contextmanager
def looking(database, tick, fraction):
    """Call `tick(fraction)` now and then while the connection works inside the block.

    A tick that raises ends the statement, and what it raised leaves the block. SQLite does not ask
    while it writes a transaction into the file, which is thus never broken off. Does nothing
    without a tick.
    """
    raised = []

    def look():
        try:
            tick(fraction)
        except BaseException as error:  # noqa: BLE001 - SQLite's own code lets none through
            raised.append(error)
        return bool(raised)

    if tick is not None:
        database.set_progress_handler(look, STEPS)
    try:
        yield
    except sqlite3.OperationalError:
        if raised:
            raise raised[0] from None
        raise
    finally:
        database.set_progress_handler(None, 0)
