"""The binary of an ISO 11783-10 grid: rows from the south, cells from the west."""
import numpy as np

from ..problems import InputProblem

CODES, VALUES = 1, 2  # grid types: a zone's code per cell; a value per cell
_KINDS = {CODES: np.dtype("u1"), VALUES: np.dtype("<i4")}  # little-endian, whatever the machine


def grid_bytes(cells, kind):
    """Return the file of a grid.

    Parameters
        cells  (rows, columns) integers, the southernmost row first
        kind   CODES or VALUES
    Raises   InputProblem: a number does not fit
    """
    cells, kept = np.asarray(cells), np.iinfo(_KINDS[kind])
    if cells.size and not kept.min <= cells.min() <= cells.max() <= kept.max:
        raise InputProblem(f"A grid of type {kind} holds {kept.min} to {kept.max}, and a cell is "
                           f"{cells.min() if cells.min() < kept.min else cells.max()}.")
    return cells.astype(_KINDS[kind]).tobytes(order="C")


def grid_cells(content, kind, rows, columns):
    """Return the cells (rows, columns) of a grid file, the southernmost row first.

    Raises   InputProblem: the file has another length
    """
    wanted = rows * columns * _KINDS[kind].itemsize
    if len(content) != wanted:
        raise InputProblem(f"{rows} rows of {columns} cells take {wanted} bytes, and the grid file "
                           f"has {len(content)}.")
    return np.frombuffer(content, _KINDS[kind]).reshape(rows, columns).astype(np.int64)
