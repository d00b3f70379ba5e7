"""What the tests of causes ask of a field call: readings at places, in the record's units."""
from dataclasses import dataclass, field

import numpy as np
from scipy.spatial import cKDTree

from ...problems import InputProblem


@dataclass(frozen=True)
class Spots:
    """Values at places.

    positions_m  (n, 2) metres
    values       (n,) any unit; none is missing, but infinity may stand for "never"
    """
    positions_m: np.ndarray
    values: np.ndarray

    def __post_init__(self):
        if self.positions_m.shape != (len(self.values), 2):
            raise InputProblem(f"{len(self.values)} values came with positions of shape "
                               f"{self.positions_m.shape}.")
        missing = np.count_nonzero(np.isnan(self.values)) + np.count_nonzero(
            ~np.isfinite(self.positions_m))
        if missing:
            raise InputProblem(f"{missing} values or positions of {len(self)} are missing.")

    def __len__(self):
        return len(self.values)

    @classmethod
    def of(cls, positions_m=(), values=()):
        """Return Spots from sequences; none where nothing is given."""
        return cls(np.asarray(positions_m, float).reshape(-1, 2), np.asarray(values, float))


@dataclass(frozen=True)
class WithinStops:
    """Readings that come in stops, each of one of two kinds.

    stops   (n,) whole number of the stop of each
    kinds   (n,) bool
    values  (n,) any unit
    """
    stops: np.ndarray
    kinds: np.ndarray
    values: np.ndarray

    def __len__(self):
        return len(self.values)

    @classmethod
    def of(cls, stops=(), kinds=(), values=()):
        """Return WithinStops from sequences; none where nothing is given."""
        return cls(np.asarray(stops, int), np.asarray(kinds, bool), np.asarray(values, float))


@dataclass(frozen=True)
class RowCounts:
    """Rows counted one by one, as `row_unit_test` takes them."""
    stops: np.ndarray
    units: np.ndarray
    plants: np.ndarray
    length_m: np.ndarray


@dataclass(frozen=True)
class Notes:
    """Scouting notes: place, subject, and whether the note says that it was there.

    present  False for a note that says so of none: no plants affected, 0 % incidence or severity
    """
    positions_m: np.ndarray
    subjects: tuple
    present: np.ndarray

    def __len__(self):
        return len(self.subjects)

    @classmethod
    def of(cls, positions_m=(), subjects=(), present=()):
        """Return Notes from sequences; none where nothing is given."""
        return cls(np.asarray(positions_m, float).reshape(-1, 2), tuple(subjects),
                   np.asarray(present, bool))


@dataclass(frozen=True)
class Walk:
    """The readings of one field call; a part that was not taken is empty.

    crop, depth_unit, pressure_unit   of the record
    stand         Spots, one of each stop, plants per area
    at_row_end    (n,) of those, whether the stop lies in the headland
    headland      what counts as that, in words
    unevenness    Spots: 0 even, 1 uneven, 2 very uneven
    pan_top       Spots, depth unit; infinity where the probe met none as deep as the tool goes
    nitrate, ph   Spots, ppm and pH
    seed_depths   Spots, depth unit
    seeds         WithinStops: kind is "had not come up", value the depth
    tracks        WithinStops: kind is "in a wheel track", value the mean resistance
    rows          RowCounts, or None
    taped         lengths of row taped
    notes         Notes
    root_ratings  (n,) 0 to 3
    lacks         part -> why it is empty, a sentence
    """
    crop: str = None
    depth_unit: str = "in"
    pressure_unit: str = "psi"
    stand: Spots = field(default_factory=Spots.of)
    at_row_end: np.ndarray = field(default_factory=lambda: np.zeros(0, bool))
    headland: str = "at the row ends"
    unevenness: Spots = field(default_factory=Spots.of)
    pan_top: Spots = field(default_factory=Spots.of)
    nitrate: Spots = field(default_factory=Spots.of)
    ph: Spots = field(default_factory=Spots.of)
    seed_depths: Spots = field(default_factory=Spots.of)
    seeds: WithinStops = field(default_factory=WithinStops.of)
    tracks: WithinStops = field(default_factory=WithinStops.of)
    rows: RowCounts = None
    taped: int = 0
    notes: Notes = field(default_factory=Notes.of)
    root_ratings: tuple = ()
    lacks: dict = field(default_factory=dict)

    def lack(self, part, otherwise):
        """Return why a part is empty, or another sentence where that is not told."""
        return self.lacks.get(part, otherwise)


def nearby_stop(stand, positions_m):
    """Return (m,) the number of the nearest stop of the stand, or -1 where none is near.

    Near is within the middle distance from one stop to the next, stops at one place taken for one:
    a reading further off speaks of other ground. This program's own choice.
    """
    positions_m = np.asarray(positions_m, float).reshape(-1, 2)
    places_m = np.unique(stand.positions_m, axis=0)
    if len(places_m) < 2 or not len(positions_m):
        return np.full(len(positions_m), -1)
    reach_m = float(np.median(cKDTree(places_m).query(places_m, k=2)[0][:, 1]))
    apart_m, nearest = cKDTree(stand.positions_m).query(positions_m)
    return np.where(apart_m <= reach_m, nearest, -1)


def at_stops(stand, spots):
    """Return (numbers, means): the stops that values lie near, ascending, and each one's mean."""
    near = nearby_stop(stand, spots.positions_m)
    numbers, group = np.unique(near[near >= 0], return_inverse=True)
    return numbers, np.bincount(group, spots.values[near >= 0], len(numbers)) / np.bincount(
        group, minlength=len(numbers))
