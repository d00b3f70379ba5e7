import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plugin.core.decide.soil_mass import mass_per_area


@given(st.floats(0, 500), st.floats(0.01, 1.5), st.floats(0.5, 2.0))
def test_mass_grows_with_content_depth_and_density(content, depth_m, density):
    found = mass_per_area(content, depth_m=depth_m, unit="kg/ha", bulk_density=density)
    # 1 ppm of 1 m of density 1: 1e-6 x 1000 kg/m2 = 10 kg/ha
    assert found == pytest.approx(10 * content * depth_m * density, rel=1e-12, abs=1e-12)


def test_any_shape_keeps_its_shape():
    assert mass_per_area(np.ones((2, 3)), depth_m=0.3, unit="lb/ac").shape == (2, 3)
