"""How readings go with a target: a point, or the mean of a square block of ground."""
import numpy as np

from ..problems import InputProblem

NODES = 4  # along each side of a block


class TargetCovariance:
    """Covariance between readings and targets by their offset, and the targets' own variance.

    A target is a point on the support of one reading, or the mean over a square block: then the
    covariance is averaged over NODES x NODES regular nodes, and the block's own variance over all
    pairs of nodes. The nugget is part of a point's variance; over a block it averages out.

    own_variance    of a target, by the model alone
    half_block_m    0 for a point
    Source   Isaaks and Srivastava (1989), An Introduction to Applied Geostatistics, chapter 13
    """

    def __init__(self, model, block_m=None):
        if block_m is not None and not (np.isfinite(block_m) and block_m > 0):
            raise InputProblem(f"A block of {block_m} m was asked for; its side must be above 0.")
        self.model, self.half_block_m = model, (block_m or 0) / 2
        self._stretch = None if model.ratio == 1 else model.stretch
        self._nodes = ([(0.0, 0.0)] if block_m is None else
                       [(east, north) for east in _nodes(block_m) for north in _nodes(block_m)])
        if block_m is None:
            self.own_variance = model.sill
        else:
            steps = np.array(self._nodes)
            apart = steps[:, None] - steps[None]
            self.own_variance = float(self._at(apart[..., 0], apart[..., 1]).mean())

    def between(self, east, north):
        """Return the covariance at offsets (m) that broadcast against each other."""
        if len(self._nodes) == 1:
            return self._at(east, north)
        total = sum(self._at(east + aside, north + ahead) for aside, ahead in self._nodes)
        total /= len(self._nodes)
        return total

    def _at(self, east, north):
        if self._stretch is None:
            apart = np.square(east, dtype=float) + np.square(north, dtype=float)
        else:
            (a, b), (c, d) = self._stretch
            apart = np.square(a * east + c * north, dtype=float)
            apart += np.square(b * east + d * north)
        return self.model.covariance(np.sqrt(apart, out=apart))


def _nodes(block_m):
    return ((np.arange(NODES) + 0.5) / NODES - 0.5) * block_m
