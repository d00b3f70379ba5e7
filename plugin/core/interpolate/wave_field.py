"""Smooth Gaussian fields without readings, as a sum of few waves."""
import numpy as np
from scipy.fft import fft2, fftfreq, ifft2

from .circulant_embedding import complex_noise, extent_m, reach_m

ALLOWED = 5e-6       # of the partial sill: the most by which a covariance is off
FIRST_SPACING = 0.5  # of the lattice tried first, in ranges
FINER = 0.75         # each next one's spacing, in those of the one before
MOST_WAVES = 1_000_000  # a matrix of them takes 16 MB, and setting them up 100 MB


class WaveField:
    """Draws of the structured part of a smooth model at the nodes of a lattice and at any place.

    A field that is smooth at the size of a cell is the sum of few waves. Their variances come
    from a circulant embedding on a coarse torus, padded until correlation is NEGLIGIBLE; its
    spacing is made finer until the covariance halfway between nodes, where it is worst, is within
    ALLOWED of the model's. The waves are then summed where they are wanted, so that nodes and
    places have one covariance, the same function of the offset everywhere. This suits the
    gaussian and the matern models with ranges of many cells, for which a torus of the lattice's
    own spacing would be large and have negative eigenvalues.

    Time grows as waves times nodes along one side; memory as the waves.

    Parameters
        model, lattice, positions_m   as EmbeddedField; all places are taken along, however far
        most    waves, at most MOST_WAVES; with more than that in `nodes`, it is not for use
    Source   common practice (spectral simulation); the embedding as EmbeddedField
    """

    def __init__(self, model, lattice, positions_m, *, most=MOST_WAVES):
        self._model, self._lattice = model, lattice
        positions = np.asarray(positions_m, float)
        self._east = lattice.west_m + (np.arange(lattice.columns) + 0.5) * lattice.cell_m
        self._north = lattice.north_m - (np.arange(lattice.rows) + 0.5) * lattice.cell_m
        self._positions = positions
        low = np.minimum([self._east[0], self._north[-1]], positions.min(axis=0))
        high = np.maximum([self._east[-1], self._north[0]], positions.max(axis=0))
        self._period = high - low + extent_m(model, reach_m(model))
        self._spacing = FIRST_SPACING * model.range_m * model.ratio
        while self.nodes <= min(most, MOST_WAVES) and self._off() > ALLOWED:
            self._spacing *= FINER

    @property
    def _shape(self):
        """Waves north and east: odd numbers, so that each has its opposite."""
        return tuple(2 * np.ceil(self._period[::-1] / self._spacing / 2).astype(int) + 1)

    @property
    def nodes(self):
        """Number of waves."""
        return int(np.prod(self._shape))

    def _covariance(self, shift):
        """The model's covariance around the torus, from places `shift` of a spacing away."""
        rows, columns = self._shape
        east = (np.arange(columns) + shift[0]) * (self._period[0] / columns)
        north = (np.arange(rows)[:, None] + shift[1]) * (self._period[1] / rows)
        total = 0.0
        for turn_east in (0, self._period[0]):
            for turn_north in (0, self._period[1]):
                apart = np.stack(np.broadcast_arrays(east - turn_east, north - turn_north), -1)
                total = total + self._model.covariance(
                    np.linalg.norm(self._model.stretched(apart), axis=-1))
        return total

    def _off(self):
        """By how much of the partial sill covariances halfway between nodes are off, at most."""
        self._variances = np.maximum(fft2(self._covariance((0, 0))).real, 0.0)
        off = 0.0
        for shift in ((0.5, 0), (0, 0.5), (0.5, 0.5)):
            turn = [np.exp(2j * np.pi * fftfreq(count) * part)
                    for count, part in zip(self._shape, shift[::-1])]
            found = ifft2(self._variances * turn[0][:, None] * turn[1]).real
            off = max(off, np.abs(found - self._covariance(shift)).max())
        return off / self._model.partial_sill

    def prepare(self):
        """Do what all draws share; then `pair` can be called."""
        self._amplitude = np.sqrt(self._variances / self.nodes)
        rows, columns = (2j * np.pi * fftfreq(count) * count / period
                         for count, period in zip(self._shape, self._period[::-1]))
        east, north = self._positions.T
        self._to_east = np.exp(np.outer(columns, self._east - self._east[0]))
        self._to_north = np.exp(np.outer(self._north - self._north[0], rows))
        self._place_east = np.exp(np.outer(columns, east - self._east[0]))
        self._place_north = np.exp(np.outer(north - self._north[0], rows))

    def pair(self, generator):
        """Return two independent draws, as the real and the imaginary part.

        Returns  (rows, columns) complex at the nodes, (n,) complex at the places
        """
        waves = complex_noise(generator, self._shape) * self._amplitude
        nodes = (self._to_north @ waves) @ self._to_east
        return nodes, np.einsum("ij,ji->i", self._place_north @ waves, self._place_east)
