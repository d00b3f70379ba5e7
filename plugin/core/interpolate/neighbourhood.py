"""The readings nearest to a target, as the model counts distance."""
import numpy as np
from scipy.spatial import cKDTree

OCTANT_CANDIDATES = 4  # nearest readings looked at, for each neighbour wanted


class Neighbourhood:
    """Finds the nearest readings of targets, in the stretched distance of an anisotropic model.

    With octants, each of the eight octants around a target gives its nearest readings, an eighth
    of the number wanted rounded up, as far as it holds any among the OCTANT_CANDIDATES times as
    many nearest; what is then lacking is filled with the nearest left.

    Parameters
        positions_m  (n, 2) metres
        model        CovarianceModel
        count        neighbours of each target, at most n
        octants      whether they are spread over the octants
    """

    def __init__(self, positions_m, model, count, *, octants=False):
        self._model, self._count, self._octants = model, count, octants
        self._stretched = model.stretched(positions_m)
        self._tree = cKDTree(self._stretched)

    def of(self, targets_m):
        """Return (m, count) numbers of readings of (m, 2) targets, metres."""
        targets = self._model.stretched(targets_m)
        count = self._count
        if self._octants:
            count = min(self._count * OCTANT_CANDIDATES, len(self._stretched))
        _, which = self._tree.query(targets, k=list(range(1, count + 1)))
        return self._spread(targets, which) if self._octants else which

    def _spread(self, targets, which):
        east, north = np.moveaxis(self._stretched[which] - targets[:, None], -1, 0)
        octant = (np.floor(np.arctan2(north, east) / (np.pi / 4)).astype(int)) % 8
        in_octant = octant[..., None] == np.arange(8)
        rank = np.take_along_axis(np.cumsum(in_octant, axis=1), octant[..., None], axis=2)[..., 0]
        late = rank > -(-self._count // 8)
        order = np.argsort(late, axis=1, kind="stable")[:, :self._count]
        return np.take_along_axis(which, order, axis=1)
