"""Observations: what the readings at each stop say, with how sure each one is."""
from dataclasses import dataclass

import numpy as np

from .problems import InputProblem

EXACT, ABOVE, BELOW = 0, 1, -1  # censoring: the value itself; more than it; less than it


@dataclass(frozen=True)
class Observations:
    """Values at points, each with its error variance and censoring.

    positions_m     (n, 2) easting and northing, metres
    values          (n,) in `unit`; of a censored one, the limit it is above or below
    error_variance  (n,) in `unit` squared, 0 or more
    censoring       (n,) EXACT, ABOVE or BELOW
    labels          (n,) what messages call each one, such as "stand_counts, stop 14"
    """
    name: str
    unit: str
    positions_m: np.ndarray
    values: np.ndarray
    error_variance: np.ndarray
    censoring: np.ndarray
    labels: tuple

    def __post_init__(self):
        count = len(self.values)
        if self.positions_m.shape != (count, 2):
            raise InputProblem(f"{self.name}: {count} values came with positions of shape "
                               f"{self.positions_m.shape}.")
        for part in ("error_variance", "censoring", "labels"):
            if len(getattr(self, part)) != count:
                raise InputProblem(f"{self.name}: {count} values came with "
                                   f"{len(getattr(self, part))} of {part}.")
        unusable = ~(np.isfinite(self.values) & np.isfinite(self.positions_m).all(axis=1)
                     & (self.error_variance >= 0))
        if unusable.any():
            first = self.labels[int(np.argmax(unusable))]
            raise InputProblem(f"{self.name}: {np.count_nonzero(unusable)} of {count} observations "
                               f"have no usable value, place or error; the first is {first}.")

    def __len__(self):
        return len(self.values)

    @classmethod
    def of(cls, name, unit, positions_m, values, *, error_variance=None, censoring=None,
           labels=None):
        """Return Observations from sequences; errors default to 0, censoring to EXACT."""
        values = np.asarray(values, float)
        count = len(values)
        return cls(
            name=name, unit=unit,
            positions_m=np.asarray(positions_m, float).reshape(-1, 2), values=values,
            error_variance=np.zeros(count) if error_variance is None
            else np.asarray(error_variance, float),
            censoring=np.full(count, EXACT) if censoring is None else np.asarray(censoring, int),
            labels=tuple(labels) if labels is not None
            else tuple(f"{name} {number}" for number in range(1, count + 1)))

    def subset(self, keep):
        """Return the observations for which `keep`, a mask or (k,) numbers, holds."""
        keep = np.asarray(keep)
        keep = np.flatnonzero(keep) if keep.dtype == bool else keep
        return Observations(self.name, self.unit, self.positions_m[keep], self.values[keep],
                            self.error_variance[keep], self.censoring[keep],
                            tuple(self.labels[number] for number in keep))
