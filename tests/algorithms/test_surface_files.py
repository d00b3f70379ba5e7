"""What happens to the file of a surface that an algorithm reads: nothing."""
import pytest

from tests.algorithms.small_surfaces import write_by_hand

# A surface whose values are all alike: QGIS, opening one as a layer, has GDAL complain of it.
READERS = {
    "chancemap": {"LIMIT": 5.5, "SIDE": 0, "CHANCE": "chance.tif"},
    "zonesbylimits": {"LIMITS": "4; 7", "ZONES": "zones.gpkg"},
    "nextstops": {"DECISION": 0, "LIMIT": 5.5, "LOSS": 10, "STOPS": "stops.gpkg"}}
MODEL = {"family": "exponential", "nugget": 1.0, "partial_sill": 4.0, "range_m": 60.0}


@pytest.fixture
def surface(tmp_path):
    """A flat surface in a folder of its own."""
    folder = tmp_path / "surfaces"
    folder.mkdir()
    return write_by_hand(folder / "flat.tif", lambda x, y: 5.0, unit="in", error=2.0, model=MODEL)


def placed(parameters, out):
    return {name: out / value if str(value).endswith((".tif", ".gpkg")) else value
            for name, value in parameters.items()}


@pytest.mark.parametrize("algorithm", READERS)
def test_a_surface_given_by_path_is_read_without_a_trace(run, out, surface, capfd, algorithm):
    before = surface.read_bytes()
    run(algorithm, SURFACE=surface, **placed(READERS[algorithm], out))
    assert [path.name for path in surface.parent.iterdir()] == ["flat.tif"]
    assert surface.read_bytes() == before
    assert "ERROR" not in capfd.readouterr().err


@pytest.mark.parametrize("algorithm", READERS)
def test_a_surface_given_as_a_layer_is_read_from_its_file(run, out, surface, algorithm):
    from qgis.core import QgsRasterLayer

    layer = QgsRasterLayer(str(surface), "a name of the user's")
    results = [{name: value for name, value in run(
        algorithm, SURFACE=given, **placed(READERS[algorithm], out)).items()
        if isinstance(value, (int, float))} for given in (layer, surface)]
    assert results[0] == results[1]


@pytest.mark.parametrize("algorithm", READERS)
def test_a_file_that_is_no_raster_is_refused_and_nothing_is_written(refused, out, tmp_path,
                                                                    algorithm):
    words = tmp_path / "words.tif"
    words.write_text("no raster")
    refused("SURFACE|words.tif", algorithm, SURFACE=words, **placed(READERS[algorithm], out))
    assert not list(out.iterdir())
