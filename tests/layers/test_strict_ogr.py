from threading import Event, Thread

import pytest
from osgeo import gdal, ogr, osr

from plugin.layers.strict_ogr import in_metres, spatial_reference, strict_ogr

MODULES = (gdal, ogr, osr)
PATIENCE_S = 20  # never waited for unless the other thread has died


@pytest.fixture(params=[True, False], ids=["exceptions on before", "off before"])
def before(request):
    """Switch the exceptions of all three modules on, or leave them off; off afterwards."""
    if request.param:
        for module in MODULES:
            module.UseExceptions()
    yield request.param
    if request.param:
        for module in reversed(MODULES):  # GDAL insists on this order
            module.DontUseExceptions()


def used():
    return [bool(module.GetUseExceptions()) for module in MODULES]


def test_ogr_is_left_as_it_was_found(before):
    with pytest.raises(RuntimeError), strict_ogr():
        assert used() == [True] * 3
        spatial_reference("no such system")
    assert used() == [before] * 3


def test_a_block_within_a_block_does_not_end_the_outer_one(before):
    with strict_ogr():
        with strict_ogr():
            assert used() == [True] * 3
        assert used() == [True] * 3
    assert used() == [before] * 3


def test_a_thread_that_leaves_does_not_make_ogr_lax_for_one_still_inside(before):
    outer_in, inner_in, outer_left = Event(), Event(), Event()
    seen = {}

    def first():
        with strict_ogr():
            outer_in.set()
            inner_in.wait(PATIENCE_S)
        outer_left.set()

    def second():
        outer_in.wait(PATIENCE_S)
        with strict_ogr():
            inner_in.set()
            seen["in time"] = outer_left.wait(PATIENCE_S)
            seen["strict"] = used()
            try:
                gdal.OpenEx("/no/such/file.gpkg", gdal.OF_VECTOR)
            except RuntimeError:
                seen["raised"] = True

    threads = [Thread(target=work) for work in (first, second)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(PATIENCE_S)
    assert seen == {"in time": True, "strict": [True] * 3, "raised": True}
    assert used() == [before] * 3


@pytest.mark.parametrize(("crs", "fit"), [
    ("EPSG:32615", True),
    ("EPSG:4326", False),  # degrees
    ("EPSG:2236", False),  # US survey feet
    ("EPSG:3857", False), ("EPSG:3395", False),  # Mercator: metres of the equator
    ("EPSG:2193", True), ("EPSG:3035", True)])  # transverse Mercator; equal area
def test_only_a_projected_system_in_metres_counts_in_metres(crs, fit):
    assert in_metres(spatial_reference(crs)) is fit
