"""What a map is of and what its mean depends on, beyond the readings themselves."""
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class MapSettings:
    """Settings of estimate_surface that most maps leave as they are.

    block_m      side of the ground that an estimate and its error are for; None: that of a reading
    heading_deg  heading along which, or across which, values may be alike further; None: none
    octants      whether neighbours, where not all readings weigh, are taken from all sides
    refit        whether the check fits the model anew without the readings that it predicts
    linear       whether the mean is a plane in easting and northing
    covariates   names of further layers that the mean depends on, each by an unknown factor
    sampled      function of (k, 2) positions, metres, that returns (k, p) figures of the covariates
    """
    block_m: float = None
    heading_deg: float = None
    octants: bool = False
    refit: bool = False
    linear: bool = False
    covariates: tuple = ()
    sampled: callable = None

    @property
    def drift_names(self):
        """What the mean depends on, in words; empty for a constant mean."""
        return (("easting", "northing") if self.linear else ()) + tuple(self.covariates)

    def drift_at(self, positions_m):
        """Return the (k, p) drift columns at (k, 2) positions, or None for a constant mean."""
        parts = ([np.asarray(positions_m, float)] if self.linear else [])
        if self.covariates:
            parts.append(self.covariates_at(positions_m))
        return np.hstack(parts) if parts else None

    def covariates_at(self, positions_m):
        """Return the (k, covariates) figures at (k, 2) positions; NaN where there is none."""
        return np.asarray(self.sampled(positions_m), float).reshape(len(positions_m),
                                                                    len(self.covariates))


PLAIN = MapSettings()
