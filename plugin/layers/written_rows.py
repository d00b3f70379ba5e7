"""Rows of a table as they were written down, whatever kind of layer or file they come from."""
from dataclasses import dataclass, replace

import numpy as np

from ..core.problems import InputProblem
from .nulls import number_of, plain
from .polygons import features_of
from .vectors import REAL, ROWS, TEXT, WHOLE, Column

# Kinds of QGIS fields by name, which is the same on Qt 5 and Qt 6.
NUMBER_KINDS = {"double": REAL, "real": REAL, "integer": WHOLE, "integer64": WHOLE, "int8": WHOLE}


@dataclass(frozen=True)
class WrittenRows:
    """A table: its columns, rows of plain values in their order, and the id of each."""
    name: str
    columns: tuple
    rows: list
    fids: np.ndarray

    def numbers(self, column):
        """Return a column as floats (n,); text with a decimal point or comma is read too.

        NaN where a row is empty or holds no number.

        Raises   InputProblem: there is no such column
        """
        names = [one.name for one in self.columns]
        if column not in names:
            raise InputProblem(f"{self.name} has no column {column}; it has {', '.join(names)}.")
        place = names.index(column)
        return np.array([_number(row[place]) for row in self.rows], float)

    def with_numbers(self, column):
        """Return the table with a column of texts as numbers, if every text in it is one.

        Otherwise, as where a laboratory wrote "<0.5", the texts stay: nothing written is lost.
        """
        place = [one.name for one in self.columns].index(column)
        values = self.numbers(column)
        written = np.array([row[place] not in (None, "") for row in self.rows], bool)
        if self.columns[place].kind != TEXT or not np.isfinite(values[written]).all():
            return self
        columns = (*self.columns[:place], Column(column, REAL), *self.columns[place + 1:])
        rows = [[*row[:place], value, *row[place + 1:]] for row, value in zip(self.rows, values)]
        return replace(self, columns=columns, rows=rows)


def read_rows(source, *, tick=None):
    """Return the WrittenRows of a QgsProcessingFeatureSource, with or without geometry.

    What is neither a number nor text comes as text, as QGIS writes it. `tick` is called with the
    fraction of rows read; it may raise Stopped.
    """
    count = max(source.featureCount(), 1)
    columns = tuple(Column(field.name(), NUMBER_KINDS.get(field.typeName().lower(), TEXT))
                    for field in source.fields())
    rows, fids = [], []
    for done, feature in enumerate(features_of(source)):
        if tick is not None and done % ROWS == 0:
            tick(min(done / count, 1.0))
        rows.append([_as(column.kind, plain(value))
                     for column, value in zip(columns, feature.attributes())])
        fids.append(feature.id())
    return WrittenRows(source.sourceName(), columns, rows, np.array(fids, int))


def _as(kind, value):
    if value is None or kind != TEXT:
        return value
    return value if isinstance(value, str) else getattr(value, "toString", value.__str__)()


def _number(value):
    return number_of(value.strip().replace(",", ".") if isinstance(value, str) else value)
