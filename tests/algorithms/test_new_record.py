import datetime

import pytest
from osgeo import ogr
from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsFeature,
    QgsGeometry,
    QgsPointXY,
    QgsProcessingContext,
    QgsProcessingException,
    QgsProcessingFeedback,
    QgsProject,
    QgsVectorLayer,
)
from qgis.PyQt.QtCore import QDate

from plugin.algorithms.new_record import NewRecord, field_columns
from plugin.record.read import open_record
from plugin.record.schema import layer_spec

# 400 m by 400 m near the central meridian of zone 15, less 100 m by 100 m.
FIELD = ("Polygon ((500000 4400000, 500400 4400000, 500400 4400400, 500000 4400400, "
         "500000 4400000), (500100 4400100, 500200 4400100, 500200 4400200, 500100 4400200, "
         "500100 4400100))")
AREA_M2 = 150_000


def boundary_layer(crs, *shapes, drawn_in="EPSG:32615"):
    """A layer in `crs` of polygons given in another one."""
    layer = QgsVectorLayer("Polygon", "outline", "memory")
    layer.setCrs(QgsCoordinateReferenceSystem(crs))
    to = QgsCoordinateTransform(QgsCoordinateReferenceSystem(drawn_in), layer.crs(),
                                QgsProject.instance())
    features = []
    for shape in shapes:
        geometry = QgsGeometry.fromWkt(shape)
        if not geometry.isEmpty() and layer.crs().isValid():
            geometry.transform(to)
        feature = QgsFeature()
        feature.setGeometry(geometry)
        features.append(feature)
    assert layer.dataProvider().addFeatures(features)[0]
    return layer


def run(layer, folder, feedback=None, **parameters):
    from qgis import processing
    return processing.run("spadework:newrecord", {
        "BOUNDARY": layer, "UNITS": "us", "RECORD": str(folder / "call.gpkg"), **parameters},
        feedback=feedback)


@pytest.mark.parametrize("crs", ["EPSG:32615", "EPSG:4326", "EPSG:26852", "EPSG:3857"])
def test_a_boundary_in_any_crs_becomes_a_record_in_the_fields_utm_zone(provider, tmp_path, crs):
    # Degrees, US survey feet (Minnesota South is far from the field, but counts in feet), and
    # web metres, which are a third too long there.
    result = run(boundary_layer(crs, FIELD), tmp_path)
    record = open_record(result["RECORD"])
    assert result["CRS"] == "EPSG:32615"
    shape = ogr.CreateGeometryFromWkb(record.boundary_wkb)
    # The way there and back agrees to a millimetre in 400 m; feet of another datum to 2 m.
    assert shape.Area() == pytest.approx(AREA_M2, rel=1e-4)
    assert shape.Centroid().GetX() == pytest.approx(500203.33, abs=2)
    assert shape.GetGeometryRef(0).GetGeometryCount() in (0, 2)
    assert [entry.name for entry in tmp_path.iterdir()] == ["call.gpkg"]


def test_a_field_south_of_the_equator_lies_in_a_southern_zone(provider, tmp_path):
    layer = boundary_layer("EPSG:4326", "Polygon ((151 -33, 151.01 -33, 151.01 -33.01, "
                                        "151 -33.01, 151 -33))", drawn_in="EPSG:4326")
    assert run(layer, tmp_path)["CRS"] == "EPSG:32756"  # zone 56: 150 E to 156 E


def test_every_field_column_can_be_given_and_is_kept(provider, tmp_path):
    given = {}
    for number, column in enumerate(field_columns()):
        given[column.name] = {
            "text": "words", "date": datetime.date(2026, 4, 25), "int": 2000 + number,
            "real": 10.5 + number / 100, "bool": number % 2 == 0}[column.kind]
        if column.values:
            given[column.name] = column.values[-1]
    given["currency"] = "EUR"
    parameters = {name.upper(): value for name, value in given.items()}
    for name, value in given.items():
        if isinstance(value, datetime.date):
            parameters[name.upper()] = QDate(value.year, value.month, value.day)
        if isinstance(value, bool):
            parameters[name.upper()] = "yes" if value else "no"
    record = open_record(run(boundary_layer("EPSG:32615", FIELD), tmp_path, UNITS="metric",
                             **parameters)["RECORD"])
    assert {name: record.field[name] for name in given} == given
    assert {True, False} <= {value for value in given.values() if isinstance(value, bool)}
    assert record.units.name == "metric" and record.currency == "EUR"


def test_what_is_not_given_stays_empty_or_gets_its_default(provider, tmp_path):
    record = open_record(run(boundary_layer("EPSG:32615", FIELD), tmp_path,
                             PLANTING_DATE="2026-04-25", GROWER="")["RECORD"])
    filled = {name: value for name, value in record.field.items()
              if value is not None and name != "reading_id"}
    assert filled == {"units": "us", "currency": "USD", "seeds_per_unit": 80000,
                      "planting_date": datetime.date(2026, 4, 25)}


def test_every_parameter_has_help_that_names_its_unit(provider):
    algorithm = provider.algorithm("newrecord")
    for definition in algorithm.parameterDefinitions():
        assert definition.help()
    helped = {definition.name(): definition.help()
              for definition in algorithm.parameterDefinitions()}
    assert helped["ROW_WIDTH"] == "From one row to the next. In in (US) or cm (metric)."
    assert helped["ROW_HEADING"].endswith("In degrees.")
    columns = {column.name.upper() for column in layer_spec("field").columns} - {"READING_ID"}
    assert set(helped) == columns | {"BOUNDARY", "RECORD"}


@pytest.mark.parametrize("shapes,words", [
    ([], "outline has 0 features, and a record is of one field"),
    ([FIELD, FIELD], "outline has 2 features, and a record is of one field. Select"),
    (["Polygon EMPTY"], "outline: the boundary is empty. Draw"),
    (["Polygon ((500000 4400000, 500400 4400400, 500400 4400000, 500000 4400400, "
      "500000 4400000))"], "crosses or touches itself: Self-intersection.*Fix geometries"),
])
def test_what_is_not_one_plain_polygon_is_refused_and_nothing_is_written(
        provider, tmp_path, shapes, words):
    with pytest.raises(QgsProcessingException, match=words):
        run(boundary_layer("EPSG:32615", *shapes), tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_one_selected_polygon_of_several_is_enough(provider, tmp_path):
    from qgis.core import QgsProcessingFeatureSourceDefinition
    layer = boundary_layer("EPSG:32615", FIELD, "Polygon ((0 0, 9 0, 9 9, 0 0))")
    QgsProject.instance().addMapLayer(layer)
    layer.selectByIds([1])
    run(QgsProcessingFeatureSourceDefinition(layer.id(), selectedFeaturesOnly=True), tmp_path)
    shape = ogr.CreateGeometryFromWkb(open_record(tmp_path / "call.gpkg").boundary_wkb)
    assert shape.Area() == pytest.approx(AREA_M2, rel=1e-9)  # rounding only
    QgsProject.instance().removeMapLayer(layer)


def test_a_boundary_without_a_crs_is_refused(provider, tmp_path):
    with pytest.raises(QgsProcessingException, match="outline has no CRS, so where the field lies"):
        run(boundary_layer("", FIELD), tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_degrees_given_in_the_wrong_order_are_refused(provider, tmp_path):
    layer = boundary_layer("EPSG:4326", "Polygon ((42 -93, 42.01 -93, 42.01 -93.01, 42 -93))",
                           drawn_in="EPSG:4326")
    with pytest.raises(QgsProcessingException, match="latitude -93.0.*no UTM zone"):
        run(layer, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_is_there_is_never_overwritten(provider, tmp_path):
    (tmp_path / "call.gpkg").write_text("mine")
    with pytest.raises(QgsProcessingException, match="call.gpkg is already there, and a record"):
        run(boundary_layer("EPSG:32615", FIELD), tmp_path)
    assert (tmp_path / "call.gpkg").read_text() == "mine"


@pytest.mark.parametrize("parameters,words", [
    ({"SEASON": 26}, "SEASON"),
    ({"SEASON": 2026.5}, "SEASON: 2026.5 is no whole number"),
    ({"CROP": "rice"}, "CROP"),
    ({"ROW_HEADING": 190.0}, "ROW_HEADING: 190.0 is above 180, the most that can be"),
    ({"ROW_WIDTH": "75,5"}, "ROW_WIDTH: 75,5 is no number. Write digits alone, with a point before "
                            "the decimals and nothing between the thousands, such as 75.5"),
    ({"SEEDS_PLANTED": "viele"}, "SEEDS_PLANTED: viele is no number"),
    ({"SEEDS_PLANTED": "34 000"}, "SEEDS_PLANTED: 34 000 is no number"),
    ({"SEEDS_PLANTED": "nan"}, "SEEDS_PLANTED: nan is no number"),
    ({"SEEDS_PLANTED": float("inf")}, "SEEDS_PLANTED: inf is no number"),
    ({"PLANTER_ROWS": "zwölf"}, "PLANTER_ROWS: zwölf is no number.* such as 75\\.$"),
    ({"ROW_WIDTH": "0"}, "ROW_WIDTH: 0 is not above 0. Enter a number above 0, or leave it empty"),
    ({"ROW_WIDTH": -30.0}, "ROW_WIDTH: -30.0 is not above 0"),
    ({"TILLAGE_COST": "-1"}, "TILLAGE_COST: -1 is below 0, the least that can be"),
    ({"CURRENCY": "dollars"}, "CURRENCY: dollars is no code of three capital letters. Write one"),
    ({"CURRENCY": "€"}, "CURRENCY: € is no code of three capital letters"),
    ({"PLANTING_DATE": "spring"}, "PLANTING_DATE"),
    ({"RECORD": "call.txt"}, "does not end in .gpkg"),
])
def test_a_value_that_cannot_be_is_refused_and_nothing_is_written(
        provider, tmp_path, parameters, words):
    if "RECORD" in parameters:
        parameters = {"RECORD": str(tmp_path / parameters["RECORD"])}
    with pytest.raises(QgsProcessingException, match=words):
        run(boundary_layer("EPSG:32615", FIELD), tmp_path, **parameters)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("given,kept", [("75.5", 75.5), (" 75 ", 75.0), ("7.55e1", 75.5),
                                        (75, 75.0), ("", None), (None, None)])
def test_a_number_given_as_text_is_kept_as_the_number(provider, tmp_path, given, kept):
    found = run(boundary_layer("EPSG:32615", FIELD), tmp_path, ROW_WIDTH=given)
    assert open_record(found["RECORD"]).field["row_width"] == kept


def test_a_cancelled_run_writes_nothing(provider, tmp_path):
    feedback, context = QgsProcessingFeedback(), QgsProcessingContext()
    feedback.cancel()
    result, fine = NewRecord().create().run(
        {"BOUNDARY": boundary_layer("EPSG:32615", FIELD), "UNITS": "us",
         "RECORD": str(tmp_path / "call.gpkg")}, context, feedback)
    assert fine and result == {}
    assert list(tmp_path.iterdir()) == []


def test_the_boundary_layer_is_left_as_it_was(provider, tmp_path):
    layer = boundary_layer("EPSG:4326", FIELD)
    before = [feature.geometry().asWkt() for feature in layer.getFeatures()]
    run(layer, tmp_path)
    assert [feature.geometry().asWkt() for feature in layer.getFeatures()] == before
    assert layer.crs().authid() == "EPSG:4326"
    assert QgsGeometry.fromPointXY(QgsPointXY(-93, 39.7)).within(
        QgsGeometry.fromRect(layer.extent()).buffer(0.1, 4))  # it does lie where it was drawn
