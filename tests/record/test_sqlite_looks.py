import sqlite3
from contextlib import closing

import pytest

from plugin.core.problems import Stopped
from plugin.record.sqlite_looks import STEPS, looking

COUNTED = ("WITH RECURSIVE number(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM number "
           "WHERE n < 200000) SELECT count(*) FROM number")  # takes several steps a number


def test_a_long_statement_is_looked_at_many_times_and_answers_all_the_same():
    told = []
    with closing(sqlite3.connect(":memory:")) as database:
        with looking(database, told.append, 0.3):
            assert database.execute(COUNTED).fetchone() == (200_000,)
        assert len(told) >= 200_000 // STEPS and set(told) == {0.3}
        before = len(told)
        database.execute(COUNTED).fetchone()
        assert len(told) == before  # not looked at outside the block


def test_a_stop_ends_the_statement_and_the_database_can_be_used_on():
    def tick(_fraction):
        raise Stopped

    with closing(sqlite3.connect(":memory:")) as database:
        with pytest.raises(Stopped), looking(database, tick, 0.0):
            database.execute(COUNTED).fetchone()
        assert database.execute("SELECT 1").fetchone() == (1,)


def test_another_problem_of_sqlite_stays_what_it_is():
    with closing(sqlite3.connect(":memory:")) as database:
        for tick in (None, lambda fraction: None):
            with pytest.raises(sqlite3.OperationalError, match="no such table"), \
                    looking(database, tick, 0.0):
                database.execute("SELECT * FROM nowhere")
