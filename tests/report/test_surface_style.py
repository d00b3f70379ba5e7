"""Class limits and colours of surfaces."""
import numpy as np
import pytest


def test_limits_are_round_and_few():
    from plugin.report.surface_style import round_limits
    # 0 to 100: the middle 96 % is 2 to 98; fives and tens make too many, twenties make four.
    assert round_limits(np.linspace(0, 100, 1001)) == [20, 40, 60, 80]
    for low, high in ((18_000, 31_000), (0.2, 0.31), (-4, 9), (7.9, 8.1)):
        limits = round_limits(np.linspace(low, high, 500))
        assert 1 <= len(limits) <= 5
        assert low < limits[0] and limits[-1] < high


def test_values_all_alike_make_one_class():
    from plugin.report.surface_style import round_limits, surface_classes
    assert round_limits(np.full(9, 27_000.0)) == []
    (only,) = surface_classes([], sequence="viridis", unit="plants/ac")
    assert only.upper == float("inf")
    assert only.text == "the same everywhere"


def test_one_far_value_does_not_swallow_the_classes():
    from plugin.report.surface_style import round_limits
    values = np.append(np.linspace(10, 20, 999), 10_000)
    assert max(round_limits(values)) <= 20


def test_classes_say_their_limits_in_the_unit():
    from plugin.report.surface_style import surface_classes
    texts = [one.text for one in surface_classes([24_000, 26_500], sequence="viridis",
                                                 unit="plants/ac")]
    assert texts == ["below 24,000 plants/ac", "24,000 to 26,500 plants/ac",
                     "26,500 plants/ac or more"]
    shares = surface_classes([.05, .5], sequence="Blues", unit="%", scale=100.0)
    assert [one.text for one in shares] == ["below 5 %", "5 to 50 %", "50 % or more"]
    tenths = surface_classes([0.1, 2.5], sequence="Blues", unit="t/ha")
    assert tenths[1].text == "0.1 to 2.5 t/ha"


@pytest.mark.parametrize("name", ["viridis", "cividis", "YlOrBr", "Blues"])
def test_every_sequence_runs_one_way_in_lightness(name):
    from plugin.report.surface_style import colours
    # relative luminance, ITU-R BT.709: what a grey print and any eye are left with
    light = []
    for colour in colours(name, 6):
        parts = np.array([colour.redF(), colour.greenF(), colour.blueF()])
        linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
        light.append(linear @ [0.2126, 0.7152, 0.0722])
    steps = np.diff(light)
    assert (steps > 0).all() or (steps < 0).all()


def test_a_class_ends_below_its_upper_limit(qgis_app):
    from osgeo import gdal

    from plugin.report.layers_of_folder import Raster, class_layer
    from plugin.report.surface_style import colours
    band = np.array([[9.99, 10.0, np.nan, 20.0]])
    layer, path = class_layer(Raster(band, (0, 1, 0, 1, 0, -1), ""), [10.0, 20.0, float("inf")],
                              colours("viridis", 3), "probe")
    classes = gdal.Open(path).ReadAsArray()
    assert classes.tolist() == [[0, 1, 255, 2]]
    assert [one.color.name() for one in layer.renderer().classes()] == [
        "#440154", "#21918c", "#fde725"]
    del layer
    gdal.Unlink(path)
