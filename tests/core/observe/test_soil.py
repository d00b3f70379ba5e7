import numpy as np
import pytest

from plugin.core.observe.soil import (
    FITS,
    NO_DEPTH,
    STARTS_BELOW,
    TOO_DEEP,
    TOO_SHALLOW,
    acid_surface,
    core_depth,
    judge_depths,
    ph_error_variance,
)
from plugin.core.problems import InputProblem

IN = 0.0254


def test_a_nitrate_core_is_twelve_inches_and_a_short_one_seven():
    assert core_depth("nitrate").usual_m == pytest.approx(12 * IN, rel=1e-12)
    assert core_depth("short").usual_m == pytest.approx(7 * IN, rel=1e-12)
    with pytest.raises(InputProblem, match="no kind of core called long; there are short, nitrate"):
        core_depth("long")


@pytest.mark.parametrize("core,top,bottom,verdict", [
    ("nitrate", 0, 12 * IN, FITS), ("nitrate", 0, 0.30, FITS), ("nitrate", 0, 11 * IN, FITS),
    ("nitrate", 0, 10.9 * IN, TOO_SHALLOW), ("nitrate", 0, 7 * IN, TOO_SHALLOW),
    ("nitrate", 0, 24 * IN, TOO_DEEP), ("nitrate", 6 * IN, 12 * IN, STARTS_BELOW),
    ("nitrate", np.nan, 12 * IN, FITS), ("nitrate", 0, np.nan, NO_DEPTH),
    ("short", 0, 6 * IN, FITS), ("short", 0, 0.20, FITS), ("short", 0, 12 * IN, TOO_DEEP),
    ("short", 0, 2 * IN, TOO_SHALLOW), ("surface", 0, 2 * IN, FITS), ("surface", 0, 0.10, FITS),
    ("surface", 0, 7 * IN, TOO_DEEP)])
def test_a_core_counts_for_what_its_depth_is_for(core, top, bottom, verdict):
    assert judge_depths(core, [top], [bottom]).tolist() == [verdict]


def test_a_field_ph_is_less_sure_than_a_laboratorys():
    lab, meter, slurry, insertion, unknown = ph_error_variance(
        ["laboratory", "meter", "slurry", "insertion", ""])
    assert lab < meter == slurry < insertion and unknown == 0.0
    assert meter == 0.25**2  # the reference's 0.2 to 0.3


def test_a_deep_sample_that_hides_an_acid_surface_is_told():
    # 2 in of 5.0 over 4 in of 6.5 averages 6.0: 1.0 below it.
    assert acid_surface([5.0, 5.6, np.nan, 5.0], [6.0, 6.0, 6.0, np.nan]).tolist() == \
        [True, False, False, False]
