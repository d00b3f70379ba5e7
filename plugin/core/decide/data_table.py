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


def read_data_table(name, folder=FOLDER):
    """Return the table of that name in a folder of tables.

    Raises   InputProblem: there is none; the message lists those there are
    """
    known = data_table_names(folder)
    if name not in known:
        raise InputProblem(f"There is no table called {name}; there are {', '.join(known)}.")
    return parse_data_table((folder / f"{name}.csv").read_text(encoding="utf-8"), name)


def parse_data_table(text, called):
    """Return the table written in a text of that form.

    Empty lines are skipped. Spaces around a head's value or a cell are dropped.

    Parameters
        called  what messages call the text, such as a file's name
    Raises   InputProblem: it has no columns or no rows, or a row is longer or shorter than the
             columns
    """
    lines = [line.strip() for line in text.lstrip("\ufeff").splitlines() if line.strip()]
    head = {key.strip(): value.strip() for key, split, value in
            (line[1:].partition(":") for line in lines if line.startswith("#")) if split}
    table = [tuple(cell.strip() for cell in row)
             for row in csv.reader(line for line in lines if not line.startswith("#"))]
    if len(table) < 2:
        raise InputProblem(f"{called} holds no table: a line of column names and at least one row "
                           "are needed.")
    columns, *rows = table
    for number, row in enumerate(rows, 1):
        if len(row) != len(columns):
            raise InputProblem(f"{called}, row {number} of the table: {len(row)} cells, but there "
                               f"are {len(columns)} columns.")
    return DataTable(head=head, columns=columns, rows=tuple(rows))


def titles_of_tables(key):
    """Return name -> title of the tables of this package whose head has a key, by name."""
    heads = {name: read_data_table(name).head for name in data_table_names()}
    return {name: head["title"] for name, head in heads.items() if key in head}


def data_table_names(folder=FOLDER):
    """Return the names of all tables in a folder, in alphabetical order."""
    return tuple(sorted(path.stem for path in folder.glob("*.csv")))
