"""Gaussian fields without readings on a regular lattice, by circulant embedding."""
import numpy as np
from scipy.fft import fft2, ifft2, next_fast_len
from scipy.spatial import cKDTree

from .covariance import FAMILIES

NEGLIGIBLE = 1e-6  # correlation that counts as none
WINDOW = 8         # nodes along each side of the square that tells of a place between nodes
PAIRS = 1000       # pairs of windows compared at once: 32 MB
ROUGH = ("spherical", "exponential")  # families whose replacement has no negative eigenvalue


def reach_m(model):
    """Return the distance (m, stretched) beyond which correlation is NEGLIGIBLE."""
    longest_m = model.structures[-1][1]
    if model.family == "spherical":
        return longest_m
    near, far = 0.0, 50.0  # every family falls with distance
    for _ in range(40):
        middle = (near + far) / 2
        if FAMILIES[model.family].correlation(np.array(middle)) > NEGLIGIBLE:
            near = middle
        else:
            far = middle
    return far * longest_m


def extent_m(model, reach):
    """Return how far east and how far north an ellipse of stretched radius `reach` goes, m."""
    inverse = np.linalg.inv(model.stretch)
    return reach * np.sqrt((inverse**2).sum(axis=0))


class EmbeddedField:
    """Draws of the structured part at the nodes of a lattice, and at places between them.

    The lattice is wrapped onto a torus, on which the Fourier transform of independent numbers has
    the covariance asked for. The torus is padded until that covariance ends before it meets
    itself. A spherical or exponential one that reaches further than the lattice is wide is
    replaced, within the diameter D of nodes and places, by

        K(h) = C(h) + c0 + c2 (h / D)^2,   with K = K' = 0 at D and K = 0 beyond,

    and a random plane of semivariance c2 (h / D)^2 is added. Differences between places, all that
    kriging with an unknown mean looks at, then vary exactly as C says; the level does not.
    Eigenvalues below 0, of a covariance cut where it is NEGLIGIBLE, are cut as well; `cut` is the
    share of the variance that goes with them, and no covariance is off by more than that.

    A place between nodes is drawn as its simple kriging from the WINDOW x WINDOW nodes around it
    and a rest, so its own variance is exact, and its covariance with the nodes of the window. With
    other nodes it is off by what the window does not screen: at most 0.4 % of the partial sill
    from ranges of 6 cells on, and 0.05 % from 20 cells on. A place on a node takes its value.

    Time grows as the torus' `nodes` and their logarithm, memory with some 5 numbers for each.

    Parameters
        model        CovarianceModel with structure
        lattice      Grid whose cell centres are the nodes
        positions_m  (n, 2) places; those out of the model's reach do not go with any node
    Source   Dietrich and Newsam (1997), SIAM Journal on Scientific Computing 18:1088-1107; Wood
             and Chan (1994), Journal of Computational and Graphical Statistics 3:409-432; the
             replacement: Stein (2002), Journal of Computational and Graphical Statistics
             11:587-599 (all cited from memory)
    """

    def __init__(self, model, lattice, positions_m):
        self._model, self._lattice, self._step = model, lattice, lattice.cell_m
        self._positions = np.asarray(positions_m, float)
        self._place = np.column_stack(
            [(self._positions[:, 0] - lattice.west_m) / self._step - 0.5,
             (lattice.north_m - self._positions[:, 1]) / self._step - 0.5])
        self._corner = np.floor(self._place).astype(int) - (WINDOW // 2 - 1)
        reach = reach_m(model)
        self._seen = np.ones(len(self._place), bool)
        diameter = self._enclose()
        self._replaced = model.family in ROUGH and reach > diameter > 0
        self._ends = diameter if self._replaced else reach
        if self._replaced:
            slope = sum(float(sill * FAMILIES[model.family].slope(np.array(u)) * u)
                        for sill, range_m in model.structures for u in [diameter / range_m])
            self._bend = -slope / 2
            self._level = -float(model.covariance(diameter)) - self._bend
        else:
            self._seen = self._away() < reach
            self._enclose()
        size = self._box + np.ceil(extent_m(model, self._ends) / self._step)
        self._shape = tuple(next_fast_len(int(side)) for side in size[::-1])
        self.nodes = self._shape[0] * self._shape[1]

    def _enclose(self):
        """The box of nodes (first and size, east and south) around all; its diameter."""
        corners, last = self._corner[self._seen], [self._lattice.columns, self._lattice.rows]
        self._first = np.minimum(corners.min(axis=0, initial=0), 0)
        self._box = np.maximum(corners.max(axis=0, initial=0) + WINDOW, last) - self._first
        east, south = (self._box - 1) * self._step
        return self._distance(np.array([east, east]), np.array([south, -south])).max()

    def _away(self):
        """How far each place is from the lattice, m, stretched."""
        last = [self._lattice.columns - 1, self._lattice.rows - 1]
        east, south = ((self._place - np.clip(self._place, 0, last)) * self._step).T
        return self._distance(east, south)

    def _distance(self, east, south):
        """Stretched distance of offsets, m."""
        apart = np.stack(np.broadcast_arrays(east, -south), axis=-1)
        return np.linalg.norm(self._model.stretched(apart), axis=-1)

    def _between(self, east, south):
        """The covariance at offsets in nodes."""
        apart = self._distance(east * self._step, south * self._step)
        found = self._model.covariance(apart)
        if self._replaced:
            found += self._level + self._bend * (apart / self._ends) ** 2
        return np.where(apart < self._ends, found, 0.0)

    def prepare(self):
        """Do what all draws share; then `pair` can be called. Sets `cut`."""
        rows, columns = self._shape
        torus = sum(self._between(np.arange(columns) - east, np.arange(rows)[:, None] - south)
                    for east in (0, columns) for south in (0, rows))
        eigenvalues = fft2(torus).real
        negative = eigenvalues < 0
        self.cut = -eigenvalues[negative].sum() / eigenvalues[~negative].sum()
        self._amplitude = np.sqrt(np.where(negative, 0.0, eigenvalues) * self.nodes)
        self._prepare_places(torus)

    def _prepare_places(self, torus):
        """Kriging weights of the windows, the nodes they weigh, and the root of the rest."""
        south, east = (part.ravel() for part in np.indices((WINDOW, WINDOW)))
        among = self._between(east[:, None] - east, south[:, None] - south)
        values, vectors = np.linalg.eigh(among)
        kept = values > 1e-12 * values[-1]
        corner = self._corner[self._seen]
        column, row = (corner - self._first).T[..., None] + np.stack([east, south])[:, None]
        at = (self._place[self._seen] - corner)[..., None]
        toward = self._between(at[:, 0] - east, at[:, 1] - south)
        self._weights = (toward @ vectors[:, kept] / values[kept]) @ vectors[:, kept].T
        self._nodes = row * self._shape[1] + column
        self._rest = square_root(self._unexplained(torus, row, column))

    def _unexplained(self, torus, row, column):
        """The (n, n) covariance of what windows do not tell; none between windows far apart."""
        count, seen = len(self._place), np.flatnonzero(self._seen)
        near = cKDTree(self._place).query_pairs(2 * WINDOW, output_type="ndarray")
        one, other = np.vstack([near, np.repeat(np.arange(count), 2).reshape(-1, 2)]).T
        rest = np.zeros((count, count))
        rest[one, other] = self._between(*(self._place[one] - self._place[other]).T)
        number = np.cumsum(self._seen) - 1
        both = self._seen[one] & self._seen[other]
        one, other = number[one[both]], number[other[both]]
        for start in range(0, len(one), PAIRS):
            a, b = one[start:start + PAIRS], other[start:start + PAIRS]
            told = torus[row[a][:, :, None] - row[b][:, None],
                         column[a][:, :, None] - column[b][:, None]]
            told = np.einsum("pi,pij,pj->p", self._weights[a], told, self._weights[b],
                             optimize=True)
            rest[seen[a], seen[b]] -= told
        away = ~self._seen  # of places out of reach everything is rest
        rest[np.ix_(away, away)] = self._between(
            *(self._place[away][:, None] - self._place[away]).transpose(2, 0, 1))
        return np.triu(rest) + np.triu(rest, 1).T

    def pair(self, generator):
        """Return two independent draws, as the real and the imaginary part.

        Returns  (rows, columns) complex at the nodes, (n,) complex at the places
        """
        noise = complex_noise(generator, self._shape)
        noise *= self._amplitude
        torus = ifft2(noise, overwrite_x=True)
        (west, north), lattice = -self._first, self._lattice
        nodes = torus[north:north + lattice.rows, west:west + lattice.columns]
        places = self._rest @ complex_noise(generator, len(self._rest))
        places[self._seen] += np.einsum("ij,ij->i", self._weights, torus.ravel()[self._nodes])
        if self._replaced:
            tilt = np.sqrt(2 * self._bend) / self._ends * complex_noise(generator, 2)
            tilt = (self._model.stretch @ tilt) * self._step
            nodes = nodes + (tilt[0] * np.arange(lattice.columns)
                             - tilt[1] * np.arange(lattice.rows)[:, None])
            places += self._place @ (tilt * [1, -1])
        return nodes, places


def square_root(covariance):
    """Return the symmetric square root of a covariance; rounding below zero is cut off."""
    values, vectors = np.linalg.eigh(covariance)
    return (vectors * np.sqrt(np.maximum(values, 0.0))) @ vectors.T


def complex_noise(generator, shape):
    """Return independent normal numbers, real and imaginary part of variance 1 each."""
    return generator.standard_normal((*np.atleast_1d(shape), 2)).view(complex)[..., 0]
