import math

import numpy as np
import pytest

from plugin.core.problems import InputProblem
from plugin.record.read import open_record
from plugin.record.stand_readings import stand_readings
from plugin.record.stops import rows_named
from plugin.record.write import append_rows
from tests.algorithms.small_calls import (
    FACTORS,
    GROUND_M2,
    SOUTH,
    WEST,
    change_field,
    change_rows,
    make_call,
    stand_rows,
    stops,
)

PLACE = {"x": WEST + 50, "y": SOUTH + 50}
APART = {"x": WEST + 60, "y": SOUTH + 50}
# Conversion there and back: rounding alone.
RELATIVE = 1e-9


def read(path):
    return stand_readings(open_record(path, only=("stand_counts", "row_counts")))


def without_place(path, fid):
    """Take the point of a stand count away, past every check."""
    from osgeo import gdal
    dataset = gdal.OpenEx(str(path), gdal.OF_VECTOR | gdal.OF_UPDATE)
    layer = dataset.GetLayerByName("stand_counts")
    feature = layer.GetFeature(fid)
    feature.SetGeometry(None)
    assert layer.SetFeature(feature) == 0
    feature = layer = dataset = None


def test_one_row_count_as_worked_by_hand(qgis_app, tmp_path):
    # 17.5 ft of one 30 in row is 1/1000 acre (17.4 ft to one decimal): 28 plants on
    # 17.5 x 2.5 = 43.75 ft2 of 43,560 make 28 x 43560 / 43.75 = 27,878.4 an acre.
    path = make_call(tmp_path / "a.gpkg", "us", field={"row_width": 30.0, "seeds_planted": None},
                     stands=[{**PLACE, "stop": 4, "plants": 28, "length": 17.5}])
    found = read(path)
    assert found.observations.values == pytest.approx([27_878.4], rel=1e-12)
    # Without seeds dropped the count is Poisson: its standard error is the share 1 / sqrt(28).
    assert found.stand.error_source == "Poisson"
    assert found.observations.error_variance == pytest.approx([27_878.4**2 / 28], rel=1e-12)
    assert found.observations.unit == "plants/ac" and found.observations.labels == (
        "stand_counts, stop 4",)
    assert found.observations.positions_m.tolist() == [[WEST + 50, SOUTH + 50]]


def test_a_stop_with_a_row_width_of_its_own_is_counted_by_that(qgis_app, tmp_path):
    # 28 plants in 17.5 ft: of 30 in rows 27,878.4 an acre as above, of 15 in rows twice that.
    # The second stop's two rows of 14 stand on 2 x 8.75 ft of the same: as many again.
    path = make_call(tmp_path / "a.gpkg", "us", field={"row_width": None, "seeds_planted": None},
                     stands=[{**PLACE, "stop": 4, "plants": 28, "length": 17.5, "row_width": 30.0},
                             {**APART, "stop": 5, "length": 8.75, "row_width": 15.0,
                              "reading_id": "rows"}])
    append_rows(path, "row_counts", [
        {"of_stop": "rows", "row_unit": unit, "plants": 14} for unit in (1, 2)])
    assert read(path).observations.values == pytest.approx([27_878.4, 55_756.8], rel=1e-12)


def test_hoop_and_wheel_as_worked_by_hand(qgis_app, tmp_path):
    # Three throws of a 100 cm hoop: 3 pi / 4 m2 with 20 plants: 84,882.6 a hectare.
    # A wheel rolled 40 m along 2 rows of 50 cm: 40 m2 with 300 plants: 75,000 a hectare.
    path = make_call(tmp_path / "a.gpkg", "metric", field={"row_width": 50.0}, stands=[
        {**PLACE, "stop": 1, "method": "hoop", "plants": 20, "hoop_diameter": 100.0, "hoops": 3},
        {**PLACE, "stop": 2, "method": "wheel", "plants": 300, "length": 40.0, "rows": 2}])
    found = read(path)
    assert found.observations.values == pytest.approx([20e4 / (3 * math.pi / 4), 75_000], rel=1e-12)
    # 8.4 seeds per m2: each comes up or not, so the dispersion is 1 less 320 / (40 + 2.356) / 8.4.
    share = 320 / (40 + 3 * math.pi / 4) / 8.4
    assert found.stand.dispersion == pytest.approx(1 - share, rel=1e-12)
    assert found.stand.error_source == "seeds dropped"


def test_both_unit_systems_tell_the_same(qgis_app, tmp_path):
    found = {}
    for units in ("us", "metric"):
        path = make_call(tmp_path / f"{units}.gpkg", units, stands=stand_rows(units))
        found[units] = read(path)
        assert found[units].observations.unit == f"plants/{'ac' if units == 'us' else 'ha'}"
        assert found[units].warnings == () and found[units].left_out == 0
    us, metric = (found[units].observations for units in ("us", "metric"))
    factor = FACTORS["metric"]["area"] / FACTORS["us"]["area"]
    assert us.values * factor == pytest.approx(metric.values, rel=RELATIVE)
    assert us.error_variance * factor**2 == pytest.approx(metric.error_variance, rel=RELATIVE)
    assert us.positions_m.tolist() == metric.positions_m.tolist() == [list(at) for at in stops()]
    # The truth: 7 plants per m2 in the west, counted as whole plants on 15.24 m2.
    assert metric.values[0] == pytest.approx(round(7 * GROUND_M2) / GROUND_M2 * 1e4, rel=RELATIVE)
    assert found["us"].stand.density == pytest.approx(found["metric"].stand.density, rel=RELATIVE)


def test_a_hoop_record_needs_no_row_width_and_a_row_record_does(qgis_app, tmp_path):
    hoop = {**PLACE, "method": "hoop", "plants": 5, "hoop_diameter": 36.0}
    path = make_call(tmp_path / "a.gpkg", field={"row_width": None}, stands=[hoop])
    assert len(read(path).observations) == 1
    append_rows(path, "stand_counts", [{**PLACE, "plants": 20, "length": 17.0}])
    with pytest.raises(InputProblem, match="field, row_width: Row width is empty. Enter it in"):
        read(path)


def test_counts_of_one_stop_are_one_stop_at_their_mean_place(qgis_app, tmp_path):
    near = {"x": WEST + 52, "y": SOUTH + 54}
    path = make_call(tmp_path / "a.gpkg", "metric", field={"row_width": 100.0}, stands=[
        {**PLACE, "stop": 3, "plants": 60, "length": 10.0},
        {**near, "stop": 3, "plants": 200, "length": 30.0}, {**near, "plants": 40, "length": 10.0},
        {**PLACE, "x": WEST + 90, "stop": 0, "plants": 50, "length": 10.0}])
    found = read(path)
    # 260 plants on 10 m2 + 30 m2; 40 on 10; 50 on 10. Stops ascend: row 3 without number is -3.
    assert found.stand.stops.tolist() == [-3, 0, 3]
    assert found.observations.values == pytest.approx([40_000, 50_000, 65_000], rel=1e-12)
    assert found.counts.tolist() == [1, 1, 2]
    assert found.observations.positions_m[2].tolist() == [WEST + 51, SOUTH + 52]
    assert found.observations.labels == ("stand_counts, row 3", "stand_counts, stop 0",
                                         "stand_counts, stop 3")


def test_two_stops_at_one_place_stay_two(qgis_app, tmp_path):
    path = make_call(tmp_path / "a.gpkg", stands=[
        {**PLACE, "stop": number, "plants": 20 + number, "length": 20.0} for number in (1, 2)])
    found = read(path)
    assert found.stand.stops.tolist() == [1, 2] and found.stand.plants.tolist() == [21, 22]
    assert found.warnings == (
        "stand_counts, stops 1 and 2 share one place (within 0.5 m). Check the points and the stop "
        "numbers. Used; the map averages them there.",)


def test_plants_of_the_rows_are_added_up_where_the_stop_has_no_count(qgis_app, tmp_path):
    path = make_call(tmp_path / "a.gpkg", stands=[
        {**PLACE, "stop": 1, "length": 20.0, "rows": 3},
        {**APART, "stop": 2, "length": 20.0, "rows": 2, "plants": 50},
        {**PLACE, "stop": 3, "length": 20.0}])
    ids = open_record(path).table("stand_counts")["reading_id"]
    append_rows(path, "row_counts", [
        {"of_stop": ids[0], "plants": 20}, {"of_stop": ids[0], "plants": 25},
        {"of_stop": ids[0], "plants": 30}, {"of_stop": ids[1], "plants": 7},
        {"of_stop": ids[2], "plants": 22}, {"of_stop": ids[2]}])
    found = read(path)
    # A count of the stop's own goes before its rows; a row not counted leaves the sum unknown.
    assert found.stand.stops.tolist() == [1, 2] and found.stand.plants.tolist() == [75, 50]
    assert found.warnings == ("stand_counts, row 3: there is no count of plants. Enter plants, or "
                              "the rows in row_counts. Left out.",)


def test_many_single_rows_give_the_spread_of_a_count(qgis_app, tmp_path):
    # 21 stops of two rows, 10 and 30 plants on equal lengths: each row is 10 from the mean of 20,
    # so the Pearson statistic is 42 x 100 / 20 = 210 over 21 degrees of freedom: 10.
    places = [(WEST + 10 + 5 * number, SOUTH + 20) for number in range(21)]
    path = make_call(tmp_path / "a.gpkg", stands=[
        {"x": x, "y": y, "stop": number, "length": 20.0, "rows": 2}
        for number, (x, y) in enumerate(places, 1)], field={"seeds_planted": None})
    ids = open_record(path).table("stand_counts")["reading_id"]
    append_rows(path, "row_counts", [{"of_stop": one, "plants": plants}
                                     for one in ids for plants in (10, 30)])
    found = read(path)
    assert found.stand.error_source == "rows"
    assert found.stand.dispersion == pytest.approx(10, rel=1e-12)


def test_a_row_of_a_length_of_its_own_is_compared_by_that_length(qgis_app, tmp_path):
    # 10 plants on 10 ft and 30 on 30 ft are one density: no spread. By the stop's 20 ft each they
    # would be 10 from the mean, as above.
    places = [(WEST + 10 + 5 * number, SOUTH + 20) for number in range(21)]
    path = make_call(tmp_path / "a.gpkg", stands=[
        {"x": x, "y": y, "stop": number, "length": 20.0, "rows": 2}
        for number, (x, y) in enumerate(places, 1)], field={"seeds_planted": None})
    ids = open_record(path).table("stand_counts")["reading_id"]
    append_rows(path, "row_counts", [{"of_stop": one, "plants": plants, "length": float(plants)}
                                     for one in ids for plants in (10, 30)])
    assert read(path).stand.dispersion == pytest.approx(0, abs=1e-12)


def test_single_rows_stand_on_their_own_ground(qgis_app, tmp_path):
    # Two rows, 20 plants on 10 ft and 20 on the count's 20 ft, entered with rows left at 1: 40
    # plants on 30 ft of row, whatever the count says of rows.
    path = make_call(tmp_path / "a.gpkg", stands=[{**PLACE, "stop": 1, "length": 20.0}])
    one, = open_record(path).table("stand_counts")["reading_id"]
    append_rows(path, "row_counts", [{"of_stop": one, "plants": 20, "length": 10.0},
                                     {"of_stop": one, "plants": 20}])
    found = read(path).stand
    width_m = open_record(path).field["row_width"] * 0.0254
    assert found.area_m2 == pytest.approx([30 * 0.3048 * width_m], rel=1e-12)
    assert found.plants.tolist() == [40]


OUTSIDE = {"x": WEST - 5, "y": SOUTH + 50}
GOOD = {**PLACE, "stop": 1, "plants": 28, "length": 17.5}
LACKING = {
    "outside": ({**GOOD, **OUTSIDE}, "the place lies outside the field. Check the point, its CRS"),
    "no plants": ({**PLACE, "length": 17.5}, "there is no count of plants. Enter plants"),
    "no length": ({**PLACE, "plants": 28}, "length or hoop is missing or 0. Enter what was"),
    "length 0": ({**GOOD, "length": 0.0}, "length or hoop is missing or 0. Enter what was"),
    "no hoop": ({**GOOD, "method": "hoop"}, "length or hoop is missing or 0. Enter what was")}


@pytest.mark.parametrize("row,words", LACKING.values(), ids=LACKING)
def test_a_count_that_lacks_something_is_left_out_and_named(qgis_app, tmp_path, row, words):
    path = make_call(tmp_path / "a.gpkg", stands=[GOOD, row, GOOD, row])
    found = read(path)
    assert len(found.warnings) == 1  # once for both rows
    assert found.warnings[0].startswith(f"stand_counts, rows 2, 4: {words}")
    assert found.warnings[0].endswith("Left out.")
    assert found.left_out == 2 and found.counts.sum() + found.left_out == 4


def test_a_count_without_a_point_is_left_out_and_named(qgis_app, tmp_path):
    path = make_call(tmp_path / "a.gpkg", stands=[GOOD, GOOD])
    without_place(path, 1)
    found = read(path)
    assert found.warnings == ("stand_counts, row 1: there is no place on the map. Put a point "
                              "where the count was taken. Left out.",)
    assert (found.counts.sum(), found.left_out) == (1, 1)


@pytest.mark.parametrize("length", [math.inf, -math.inf, math.nan, -3.0])
def test_a_length_that_is_no_length_is_left_out(qgis_app, tmp_path, length):
    path = make_call(tmp_path / "a.gpkg", stands=[GOOD, GOOD])
    change_rows(path, "stand_counts", lambda feature: {"length": length}
                if feature.GetFID() == 2 else None)
    found = read(path)
    assert found.warnings[0].startswith("stand_counts, row 2: length or hoop is missing or 0.")
    assert np.isfinite(found.observations.values).all()
    assert (found.counts.sum(), found.left_out) == (1, 1)


def test_nothing_is_lost_whatever_lacks(qgis_app, tmp_path):
    rows = [row for row, _ in LACKING.values()] * 3 + [GOOD] * 2
    path = make_call(tmp_path / "a.gpkg", stands=rows)
    found = read(path)
    assert found.counts.sum() + found.left_out == len(rows) == 17
    assert found.left_out == 15 and len(found.warnings) == 3


def test_more_plants_than_seeds_are_left_out_and_named(qgis_app, tmp_path):
    # 8.4 seeds per m2 on 15.24 m2 are 128; 193 plants are 1.508 times as many, 190 are 1.484.
    rows = stand_rows(density=lambda x, y: 7.0)
    rows[4]["plants"], rows[5]["plants"] = 193, 190
    found = read(make_call(tmp_path / "a.gpkg", stands=rows))
    assert found.warnings == (
        "stand_counts, row 5: more than 1.5 times as many plants as seeds dropped. Check the unit "
        "of length (ft), rows, the row width (30 in), plants and seeds planted. Left out.",)
    assert found.left_out == 1 and found.counts.sum() == 23 == len(rows) - found.left_out
    assert 193 not in found.stand.plants and 190 in found.stand.plants


def test_hoop_counts_are_not_blamed_on_the_row_width(qgis_app, tmp_path):
    # A 1 m hoop has 0.785 m2: 8.4 seeds per m2 are 6.6, so 40 plants are six times as many.
    hoop = {**PLACE, "stop": 1, "method": "hoop", "hoop_diameter": 100.0}
    path = make_call(tmp_path / "a.gpkg", "metric", field={"row_width": None}, stands=[
        {**hoop, **APART, "stop": 2, "plants": 40}, {**hoop, "plants": 5}, {**hoop, "plants": 6},
        {**hoop, "y": SOUTH + 9, "stop": 3, "plants": 5}])
    assert read(path).warnings == (
        "stand_counts, row 1: more than 1.5 times as many plants as seeds dropped. Check the hoop "
        "diameter (cm), hoops, plants and seeds planted. Left out.",)
    change_rows(path, "stand_counts", lambda feature: {"hoop_diameter": 10.0})
    with pytest.raises(InputProblem, match="84,000 seeds/ha were planted. Check the hoop diameter "
                                           r"\(cm\), hoops, plants and seeds planted.$"):
        read(path)


@pytest.mark.parametrize("units,length", [("us", 3.0), ("metric", 1000.0)])
def test_lengths_in_another_unit_are_refused(qgis_app, tmp_path, units, length):
    # 10 m entered as if in yards make three times the stand; 1000 cm as m a hundredth.
    rows = [{**row, "length": length} for row in stand_rows(units, lambda x, y: 6.0)]
    path = make_call(tmp_path / "a.gpkg", units, stands=rows)
    with pytest.raises(InputProblem, match="the counts come to .* in the middle, but .* were "
                                           "planted. Check the unit of length"):
        read(path)


@pytest.mark.parametrize("width,refused", [(76.2, False), (60.0, True)])
def test_a_middle_stop_with_more_plants_than_seeds_is_refused(qgis_app, tmp_path, width, refused):
    # 8 plants per m2 of 76.2 cm rows are 122 on 2 x 10 m: 10.17 per m2 if rows are taken for
    # 60 cm, which is 1.21 of the 8.4 seeds; as they are it is 0.95.
    path = make_call(tmp_path / "a.gpkg", "metric", field={"row_width": width},
                     stands=stand_rows("metric", lambda x, y: 8.0))
    if not refused:
        assert read(path).warnings == ()
        return
    with pytest.raises(InputProblem, match="the counts come to 101,667 plants/ha in the middle, "
                                           "but 84,000 seeds/ha were planted. Check the unit of "
                                           r"length \(m\), rows, the row width \(60 cm\)"):
        read(path)


@pytest.mark.parametrize("plants,told", [(52, False), (51, True)])
def test_a_stand_of_few_of_the_seeds_is_asked_about_once(qgis_app, tmp_path, plants, told):
    # 0.4 x 8.4 seeds per m2 x 15.24 m2 are 51.2 plants.
    rows = [{**row, "plants": plants} for row in stand_rows("metric")]
    found = read(make_call(tmp_path / "a.gpkg", "metric", stands=rows))
    assert found.warnings == ((
        "stand_counts: half of the stops have 33,465 plants/ha or less, 40 % of the 84,000 seeds/ha"
        " planted. If the field does not look that thin, check the unit of length (m), rows, the "
        "row width (76.2 cm), plants and seeds planted. Used as it is.",) if told else ())
    assert found.left_out == 0


@pytest.mark.parametrize("plants,told", [(4, False), (12, True)])
def test_hoops_and_rows_that_disagree_are_asked_about(qgis_app, tmp_path, plants, told):
    # Rows: 6 plants per m2. A 1.5 m hoop has 1.767 m2: 4 plants are 2.26 per m2, 12 are 6.79.
    hoop = {"method": "hoop", "hoop_diameter": 150.0, "plants": 16 - plants}
    rows = stand_rows("metric", lambda x, y: 6.0)
    rows += [{**hoop, "x": WEST + x, "y": SOUTH + 5, "stop": 90 + x} for x in (5, 45)]
    found = read(make_call(tmp_path / "a.gpkg", "metric", stands=rows))
    words = [one for one in found.warnings if "hoop counts come to" in one]
    assert len(found.warnings) == len(words) == int(told) and found.left_out == 0
    if told:
        assert words[0].startswith("stand_counts: hoop counts come to 22,635 plants/ha in the "
                                   "middle, row counts to 59,711 plants/ha.")


def test_without_seeds_planted_the_crop_says_what_cannot_stand(qgis_app, tmp_path):
    # Corn: 170,000 a hectare are 259 plants on 15.24 m2.
    rows = stand_rows("metric", lambda x, y: 7.0)
    rows[2]["plants"], rows[3]["plants"] = 260, 259
    path = make_call(tmp_path / "a.gpkg", "metric", stands=rows, field={"seeds_planted": None})
    found = read(path)
    assert found.warnings == (
        "stand_counts, row 3: more than 170,000 plants/ha, which hardly any field of corn has. "
        "Check the unit of length (m), rows, the row width (76.2 cm) and plants. Left out.",)
    assert (found.left_out, found.counts.sum()) == (1, 23)
    change_field(path, crop="wheat")
    assert read(path).warnings == ()
    change_field(path, crop="corn", row_width=20.0)
    with pytest.raises(InputProblem, match="come to 267,500 plants/ha in the middle, more than "
                                           "170,000 plants/ha, which hardly any field of corn"):
        read(path)


@pytest.mark.parametrize("values,words", [
    ({"plants": -3}, "the count of plants is below 0. Enter what was counted. Left out."),
    ({"length": -3.0, "rows": -1}, "length or hoop is missing or 0."),
    ({"method": "hoop", "hoop_diameter": -90.0}, "length or hoop is missing or 0.")])
def test_a_count_below_0_is_left_out_and_named(qgis_app, tmp_path, values, words):
    path = make_call(tmp_path / "a.gpkg", stands=[GOOD, GOOD])
    change_rows(path, "stand_counts", lambda feature: values if feature.GetFID() == 2 else None)
    found = read(path)
    assert found.warnings[0].startswith(f"stand_counts, row 2: {words}")
    assert (found.left_out, found.counts.sum(), len(found.warnings)) == (1, 1, 1)


def test_a_row_count_below_0_leaves_the_sum_unknown(qgis_app, tmp_path):
    path = make_call(tmp_path / "a.gpkg", stands=[GOOD, {**PLACE, "stop": 1, "length": 20.0}])
    ids = open_record(path).table("stand_counts")["reading_id"]
    append_rows(path, "row_counts", [{"of_stop": ids[1], "plants": 30}] * 2)
    change_rows(path, "row_counts", lambda feature: {"plants": -30} if feature.GetFID() == 1
                else None)
    assert read(path).warnings[0].startswith("stand_counts, row 2: there is no count of plants.")


@pytest.mark.parametrize("column,words", [
    ("row_width", "field, row_width: the row width is 0 in. Enter the distance"),
    ("seeds_planted", "field, seeds_planted: 0 seeds/ac were planted. Enter the seeds dropped")])
def test_a_field_figure_of_0_is_named(qgis_app, tmp_path, column, words):
    path = make_call(tmp_path / "a.gpkg", stands=[GOOD], field={column: 0.0})
    with pytest.raises(InputProblem, match=words):
        read(path)


def test_a_record_without_usable_counts_is_refused(qgis_app, tmp_path):
    with pytest.raises(InputProblem, match="stand_counts holds no reading. Enter the counts"):
        read(make_call(tmp_path / "a.gpkg"))
    path = make_call(tmp_path / "b.gpkg", stands=[{**GOOD, **OUTSIDE}] * 2)
    with pytest.raises(InputProblem, match="None of 2 stand counts can be used. stand_counts, rows "
                                           "1, 2: the place lies outside"):
        read(path)


def test_a_stop_without_a_plant_is_a_stand_of_zero_with_an_error(qgis_app, tmp_path):
    rows = stand_rows(density=lambda x, y: 0.0 if x < WEST + 30 else 7.0)
    found = read(make_call(tmp_path / "a.gpkg", stands=rows))
    bare = found.observations.values == 0
    assert bare.sum() == 5 and (found.observations.error_variance[bare] > 0).all()
    change_field(tmp_path / "a.gpkg", seeds_planted=None)
    assert len(read(tmp_path / "a.gpkg").observations) == 24


def test_rows_are_named_shortly():
    assert rows_named([3]) == "row 3"
    assert rows_named([3, 5]) == "rows 3, 5"
    assert rows_named(list(range(1, 12))) == "rows 1, 2, 3, 4, 5, 6, 7, 8 and 3 more"
