"""What layers give: observations, a boundary, a CRS to measure in."""
import math

import pytest
import shapely
from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsFeature,
    QgsGeometry,
    QgsProcessing,
    QgsProcessingContext,
    QgsProcessingParameterFeatureSource,
    QgsProcessingUtils,
    QgsProject,
    QgsVectorLayer,
)

from plugin.core.observations import ABOVE, BELOW, EXACT
from plugin.core.problems import InputProblem
from plugin.layers.crs import crs_named, in_metres
from plugin.layers.nulls import number_of, plain
from plugin.layers.points import read_observations
from plugin.layers.polygons import boundary_of


def layer_of(kind, rows, fields=""):
    """A memory layer named readings; rows are WKT and attributes."""
    layer = QgsVectorLayer(f"{kind}?crs=EPSG:32615{fields}", "readings", "memory")
    features = []
    for wkt, *attributes in rows:
        feature = QgsFeature(layer.fields())
        if wkt:
            feature.setGeometry(QgsGeometry.fromWkt(wkt))
        feature.setAttributes(attributes)
        features.append(feature)
    assert layer.dataProvider().addFeatures(features)[0]
    return layer


@pytest.fixture
def source(qgis_app):
    """Return source(layer): the source that an algorithm reads a layer through."""
    kept = []

    def made(layer):
        context = QgsProcessingContext()
        context.setProject(QgsProject.instance())
        parameter = QgsProcessingParameterFeatureSource(
            "INPUT", "input", [QgsProcessing.SourceType.TypeVectorAnyGeometry])
        kept.extend((layer, context, parameter))
        return QgsProcessingUtils.variantToSource(layer, context)
    return made


FIELDS = "&field=value:double&field=error:double&field=limit:string&field=words:string"


def test_points_become_observations_and_what_lacks_is_left_out(source):
    layer = layer_of("Point", [
        ("Point (500000 4400000)", 10.0, 2.0, None, "12.5"),
        ("Point (500010 4400000)", 20.0, 0.0, "Above", "x"),
        ("Point (500020 4400000)", 30.0, 1.0, " below ", None),
        ("", 40.0, 1.0, None, "1"),
        ("Point (500030 4400000)", None, 1.0, None, "1"),
        ("Point (500040 4400000)", math.nan, 1.0, None, "nan"),
        ("Point (500050 4400000)", math.inf, 1.0, None, "inf"),
        ("Point (500060 4400000)", 50.0, None, None, "2"),
        ("Point (500070 4400000)", 60.0, -1.0, None, "3"),
        ("Point (500080 4400000)", 70.0, math.inf, None, "4")], FIELDS)
    found, left_out = read_observations(source(layer), "value", error_field="error",
                                        censor_field="limit", name="Stand", unit="plants/ac")
    assert (found.name, found.unit) == ("Stand", "plants/ac")
    assert found.values.tolist() == [10, 20, 30]
    assert found.positions_m.tolist() == [[500000, 4400000], [500010, 4400000], [500020, 4400000]]
    assert found.error_variance.tolist() == [4, 0, 1]  # squared
    assert found.censoring.tolist() == [EXACT, ABOVE, BELOW]
    assert found.labels[0] == "readings, row 1"
    assert left_out == [4, 5, 6, 7, 8, 9, 10]  # nothing lost: 3 + 7 rows of 10
    assert len(read_observations(source(layer), "value")[0]) == 6  # without errors: rows 1-3, 8-10
    # Numbers in words count; what is none does not: rows 1, 5, 8, 9, 10 have both.
    assert read_observations(source(layer), "words")[0].values.tolist() == [12.5, 1, 2, 3, 4]


def test_an_empty_layer_and_one_without_values_are_refused(source):
    with pytest.raises(InputProblem, match="readings, value: none of 0 rows has a point"):
        read_observations(source(layer_of("Point", [], FIELDS)), "value")
    layer = layer_of("Point", [("Point (0 0)", None, None, None, None)], FIELDS)
    with pytest.raises(InputProblem, match="readings, value: none of 1 rows has a point and"):
        read_observations(source(layer), "value")


def test_a_column_that_is_not_there_and_an_unknown_word_are_refused(source):
    layer = layer_of("Point", [("Point (0 0)", 1.0, 1.0, "about", None)], FIELDS)
    with pytest.raises(InputProblem, match="readings has no column depth; it has value, error"):
        read_observations(source(layer), "depth")
    with pytest.raises(InputProblem, match="readings has no column sd"):
        read_observations(source(layer), "value", error_field="sd")
    with pytest.raises(InputProblem, match="row 1, limit: 'about' is not above, below or empty"):
        read_observations(source(layer), "value", censor_field="limit")


SQUARE = "Polygon ((0 0, 10 0, 10 10, 0 10, 0 0))"


def test_polygons_that_meet_become_one_boundary(source):
    layer = layer_of("MultiPolygon", [
        (SQUARE,), ("Polygon ((10 0, 20 0, 20 10, 10 10, 10 0))",), ("",),
        ("MultiPolygon (((30 0, 40 0, 40 10, 30 10, 30 0), (32 2, 34 2, 34 4, 32 4, 32 2)),"
         " ((5 5, 15 5, 15 15, 5 15, 5 5)))",)])
    made = shapely.from_wkb(boundary_of(source(layer)))
    # 20 by 10, then 10 by 5 more above it, and 10 by 10 less 2 by 2.
    assert made.is_valid and made.area == pytest.approx(200 + 50 + 96, rel=1e-12)
    assert len(made.geoms) == 2


def test_heights_and_curves_become_plain_lines(source):
    curved = "CurvePolygon (CompoundCurve (CircularString (0 0, 1 1, 2 0), (2 0, 0 0)))"
    made = shapely.from_wkb(boundary_of(source(layer_of("CurvePolygon", [(curved,)]))))
    assert made.area == pytest.approx(math.pi / 2, rel=1e-3)  # half a circle drawn in chords
    high = "PolygonZ ((0 0 5, 10 0 5, 10 10 5, 0 0 5))"
    made = shapely.from_wkb(boundary_of(source(layer_of("PolygonZ", [(high,)]))))
    assert made.area == 50 and not made.has_z


@pytest.mark.parametrize("rows,words", [
    ([], "readings holds no polygon with an area"),
    ([("",)], "readings holds no polygon with an area"),
    ([("Polygon ((0 0, 5 5, 5 0, 0 5, 0 0))",)],
     "row 1: the boundary crosses or touches itself.*Fix geom"),
])
def test_what_makes_no_boundary_is_refused(source, rows, words):
    with pytest.raises(InputProblem, match=words):
        boundary_of(source(layer_of("Polygon", rows)))


@pytest.mark.parametrize("crs,metres,name", [
    ("EPSG:32615", True, "EPSG:32615"), ("EPSG:4326", False, "EPSG:4326"),
    ("EPSG:2236", False, "EPSG:2236"), ("EPSG:3857", False, "EPSG:3857"),
    ("EPSG:3395", False, "EPSG:3395"), ("EPSG:28992", True, "EPSG:28992"),
    ("EPSG:2193", True, "EPSG:2193"), ("", False, "no CRS")])
def test_only_a_projected_crs_in_metres_is_measured_in(qgis_app, crs, metres, name):
    reference = QgsCoordinateReferenceSystem(crs)
    assert in_metres(reference) is metres
    assert crs_named(reference) == name


def test_an_empty_attribute_is_no_number_and_nothing(qgis_app):
    from qgis.PyQt.QtCore import QVariant
    empty = layer_of("Point", [("Point (0 0)", None)], "&field=value:double")
    value = next(empty.getFeatures())["value"]
    assert plain(value) is None and plain(3) == 3 and plain("") == ""
    for nothing in (value, None, QVariant(), "", "x"):
        assert math.isnan(number_of(nothing))
    assert number_of("2.5") == 2.5 and number_of(7) == 7.0
