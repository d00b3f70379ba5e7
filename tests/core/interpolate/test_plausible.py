import numpy as np
import pytest

from plugin.core.grid import Grid
from plugin.core.interpolate.plausible import (
    far_from_the_others,
    outside,
    require_near,
    require_plausible,
)
from plugin.core.observations import ABOVE, Observations
from plugin.core.problems import InputProblem

GRID = Grid(0.0, 100.0, 10.0, 10, 10)  # its diagonal is 141 m


def seen(values, places=None, **more):
    places = [(50.0, 50.0)] * len(values) if places is None else places
    return Observations.of("stand", "in", places, values, **more)


def test_figures_beyond_what_doubles_tell_apart_are_refused_by_name():
    with pytest.raises(InputProblem, match=r"stand 2, value: 1e\+16 .*1 of 3.*others is 2"):
        require_plausible(seen([1.0, 1e16, 3.0]), "value")
    with pytest.raises(InputProblem, match=r"stand 1, value: 1 \(error 1e\+20\)"):
        require_plausible(seen([1.0, 2.0], error_variance=[1e40, 0.0]), "value")
    require_plausible(seen([1.0, -1e15]), "value")


def test_a_reading_far_from_the_others_is_one_of_many_spreads_off():
    # median 3.5, absolute deviations 2.5 1.5 .5 .5 1.5 96.5: their median 1.5, spread 2.22
    assert far_from_the_others(seen([1, 2, 3, 4, 5, 100.0])).tolist() == [5]
    assert far_from_the_others(seen([1, 2, 3, 4, 5, 40.0])).tolist() == []  # 36.5 < 44.5
    assert far_from_the_others(seen([1, 1, 1, 9e9])).tolist() == []  # no spread to tell by
    assert far_from_the_others(seen([1, 2, 3, 4, 5, 100.0],
                                    censoring=[0] * 5 + [ABOVE])).tolist() == []


def test_readings_too_far_from_the_field_are_refused_with_their_distance():
    require_near(seen([1.0, 2.0], [(-999.0, 50.0), (50.0, 1100.0)]), GRID)
    with pytest.raises(InputProblem, match=r"stand 2 lies 5 km from the field.*1 of 2"):
        require_near(seen([1.0, 2.0], [(50.0, 50.0), (3100.0, 4100.0)]), GRID)  # 3 by 4 km


def test_readings_outside_are_those_in_no_cell_of_the_field():
    inside = np.ones((10, 10))
    inside[0] = 0.0
    assert outside(seen([1.0] * 3, [(50.0, 95.0), (50.0, 50.0), (-1.0, 50.0)]), GRID, inside) == 2
