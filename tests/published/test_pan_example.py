"""A profile in 3-inch notches with its pan worked by hand, as cone-penetrometer guides read one."""
import pytest

from plugin.core.observations import EXACT
from plugin.core.observe.pan import pan_of_profile
from plugin.core.units import convert

NOTCHES_IN, PSI = [3, 6, 9, 12, 15, 18], [120, 180, 250, 340, 320, 240]


def test_the_profile_in_notches_has_its_pan_from_10_7_to_15_8_inches():
    # top 9 + (300 - 250) / (340 - 250) x 3 = 10.667; bottom 15 + (320 - 300) / (320 - 240) x 3
    # = 15.75; in between 340 psi at 12 in
    found = pan_of_profile(convert(NOTCHES_IN, "in", "m"), PSI, limit=300)
    assert (found.kind, found.top_censoring, found.bottom_censoring) == ("pan", EXACT, EXACT)
    assert convert([found.top_m, found.bottom_m, found.thickness_m, found.peak_m, found.reached_m],
                   "m", "in") == pytest.approx([32 / 3, 15.75, 15.75 - 32 / 3, 12, 18], rel=1e-12)
    assert found.peak == 340
    # as printed, to a tenth
    assert convert([found.top_m, found.bottom_m, found.thickness_m], "m", "in") == pytest.approx(
        [10.7, 15.8, 5.1], abs=0.0501)
    assert convert([found.top_m, found.bottom_m, found.thickness_m], "m", "cm") == pytest.approx(
        [27.1, 40.0, 12.9], abs=0.0501)


def test_the_same_profile_in_metric_has_the_same_pan():
    there = pan_of_profile(convert(NOTCHES_IN, "in", "m"), PSI, limit=300)
    here = pan_of_profile(convert(convert(NOTCHES_IN, "in", "cm"), "cm", "m"),
                          convert(PSI, "psi", "kPa"), limit=convert(300.0, "psi", "kPa"))
    assert [here.top_m, here.bottom_m, here.peak_m] == pytest.approx(
        [there.top_m, there.bottom_m, there.peak_m], rel=1e-12)
    assert here.peak == pytest.approx(convert(there.peak, "psi", "kPa"), rel=1e-12)
