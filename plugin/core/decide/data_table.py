"""Published tables kept as data files: `# key: value` lines, then comma-separated rows."""
import csv
from dataclasses import dataclass
from pathlib import Path

from ..problems import InputProblem

FOLDER = Path(__file__).with_name("tables")


@dataclass(frozen=True)
class DataTable:
    """The head of a table file by key, the names of its columns, and its rows as text."""
    head: dict
    columns: tuple
    rows: tuple


def read_data_table(name):
    """Return the table of that name.

    Raises   InputProblem: there is none; the message lists those there are
    """
    if name not in data_table_names():
        raise InputProblem(f"There is no table called {name}; there are "
                           f"{', '.join(data_table_names())}.")
    lines = (FOLDER / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    head = dict(line[2:].split(": ", 1) for line in lines if line.startswith("# "))
    columns, *rows = csv.reader(line for line in lines if not line.startswith("#"))
    return DataTable(head=head, columns=tuple(columns), rows=tuple(map(tuple, rows)))


def data_table_names():
    """Return the names of all tables, in alphabetical order."""
    return tuple(sorted(path.stem for path in FOLDER.glob("*.csv")))
