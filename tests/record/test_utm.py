import pytest

from plugin.core.problems import InputProblem
from plugin.record.utm import utm_authority_id


@pytest.mark.parametrize("longitude,latitude,expected", [
    (-93.6, 42.0, "EPSG:32615"),   # zone 15 runs from 96 W to 90 W
    (-96.0, 42.0, "EPSG:32615"),   # on the line: the eastern zone
    (-96.0001, 42.0, "EPSG:32614"),
    (150.0, -30.0, "EPSG:32756"),  # zone 56 runs from 150 E to 156 E, south
    (9.0, 0.0, "EPSG:32632"),      # the equator belongs to the north
    (-180.0, 10.0, "EPSG:32601"),
    (180.0, 10.0, "EPSG:32660"),
])
def test_the_zone_is_the_one_whose_six_degrees_hold_the_place(longitude, latitude, expected):
    assert utm_authority_id(longitude, latitude) == expected


@pytest.mark.parametrize("longitude,latitude", [(0, 84.1), (0, -80.1), (181, 0),
                                                (float("nan"), 0)])
def test_a_place_without_a_zone_is_refused(longitude, latitude):
    with pytest.raises(InputProblem, match="no UTM zone. Check the boundary's CRS"):
        utm_authority_id(longitude, latitude)


def test_every_zone_is_the_one_that_its_own_crs_says_it_is():
    from osgeo import osr
    for longitude in range(-177, 180, 6):  # the central meridians
        for latitude, side in ((45, "N"), (-45, "S")):
            reference = osr.SpatialReference()
            reference.SetFromUserInput(utm_authority_id(longitude, latitude))
            assert reference.GetProjParm("central_meridian") == longitude
            assert reference.GetName().endswith(side)
