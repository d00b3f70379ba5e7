"""Layers on one scale, so that none counts for more because of its unit."""
from dataclasses import dataclass

import numpy as np

from ..problems import InputProblem

BLOCK = 2048  # cells in a product of matrices: few enough that BLAS keeps it in one thread


@dataclass(frozen=True)
class Cloud:
    """Cells as points, one coordinate a layer, each of mean 0 and standard deviation 1.

    blocks   (b, p + 2, BLOCK): the layers, the sum of their squares, and ones; so that one product
             of matrices gives squared distances, and another weighted sums, squares and weights.
             The last block is filled up with zeros, which weigh nothing.
    cells    number of cells, n
    """
    blocks: np.ndarray
    cells: int

    @property
    def layers(self):
        """Number of layers, p."""
        return self.blocks.shape[1] - 2

    def points(self):
        """Return the cells as points, (p, n)."""
        return in_a_row(self.blocks[:, :-2], self.cells)

    def part(self, cells):
        """Return the Cloud of some of the cells, given as an index."""
        return cloud_of(self.points()[:, cells])


def in_a_row(blocks, cells):
    """Return the rows (k, n) of figures that lie in blocks (b, k, BLOCK), without the filling."""
    return blocks.transpose(1, 0, 2).reshape(blocks.shape[1], -1)[:, :cells]


def in_blocks(rows):
    """Return rows (k, n) as blocks (b, k, BLOCK), the last one filled up with zeros."""
    count, cells = rows.shape
    number = -(-cells // BLOCK)
    filled = np.zeros((count, number * BLOCK))
    filled[:, :cells] = rows
    return np.ascontiguousarray(filled.reshape(count, number, BLOCK).transpose(1, 0, 2))


def cloud_of(points):
    """Return the Cloud of points (p, n) that are standardised already."""
    points = np.asarray(points, float)
    ones = np.ones(points.shape[1])
    return Cloud(in_blocks(np.vstack([points, (points**2).sum(axis=0), ones])), points.shape[1])


def standardised(values, names):
    """Return the Cloud of cells (p, n), each layer less its mean and over its standard deviation.

    Raises   InputProblem: a layer has one value in all cells
    Source   common practice
    """
    values = np.asarray(values, float)
    mean, deviation = values.mean(axis=1), values.std(axis=1)
    for name, middle, spread in zip(names, mean, deviation):
        if not spread > 1e-12 * abs(middle):  # what rounding leaves of a constant
            raise InputProblem(f"{name} has the value {middle:g} in all cells used. Leave it out: "
                               "it cannot tell zones apart.")
    return cloud_of((values - mean[:, None]) / deviation[:, None])
