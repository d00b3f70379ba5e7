import pytest

from plugin.core.problems import InputProblem
from plugin.record import probe_readings
from plugin.record.probe_readings import (
    QUANTITIES,
    acid_surface_samples,
    nitrate_readings,
    ph_readings,
    results_held,
    surface_ph_readings,
)
from plugin.record.read import open_record
from plugin.record.write import append_rows
from tests.algorithms.small_calls import SOUTH, WEST, change_rows, make_call

PLACE = {"x": WEST + 50, "y": SOUTH + 50}
APART = {"x": WEST + 60, "y": SOUTH + 50}


def call(tmp_path, *rows, units="us"):
    path = make_call(tmp_path / "a.gpkg", units)
    append_rows(path, "probe_points", [{**PLACE, **row} for row in rows])
    return open_record(path, only=("probe_points",))


def deep(value=15.0, **changes):
    return {"top_depth": 0.0, "bottom_depth": 12.0, "nitrate_n_ppm": value, **changes}


def test_nitrate_counts_of_twelve_inch_cores_and_no_others(qgis_app, tmp_path):
    record = call(tmp_path, deep(15.0, sample_number="S-1", cores=16), deep(9.0, **APART),
                  deep(40.0, bottom_depth=7.0), deep(8.0, bottom_depth=24.0),
                  deep(7.0, bottom_depth=None), deep(6.0, top_depth=6.0), {"ph": 6.0})
    found = nitrate_readings(record)
    assert found.observations.values.tolist() == [15.0, 9.0]
    assert found.observations.unit == "ppm" and found.fids.tolist() == [1, 2]
    assert found.observations.labels == ("probe_points, row 1 (sample S-1)", "probe_points, row 2")
    assert found.bottom_m == pytest.approx([0.3048, 0.3048], rel=1e-12)
    assert found.methods == ("laboratory", "laboratory") and found.cores[0] == 16
    assert {one.fid: one.why.split(".")[0] for one in found.left_out} == {
        3: "the core goes down only 7 in", 4: "the core goes down as far as 24 in",
        5: "its depth is not entered", 6: "the core begins deeper than 1 in"}
    assert found.warnings[0] == (
        "probe_points, row 3, Nitrate nitrogen: the core goes down only 7 in. This result counts "
        "only of cores from the surface to 11 to 13 in. Left out.")


def test_a_metric_record_is_told_in_centimetres(qgis_app, tmp_path):
    record = call(tmp_path, deep(bottom_depth=30.0), deep(bottom_depth=18.0), units="metric")
    found = nitrate_readings(record)
    assert len(found.observations) == 1
    assert "only 18 cm" in found.warnings[0] and "27.9 to 33 cm" in found.warnings[0]


@pytest.mark.parametrize("name,row", [
    ("ph", {"ph": 6.1}), ("buffer_ph", {"buffer_ph": 6.6}), ("organic_matter",
    {"organic_matter": 3.0}), ("phosphorus_ppm", {"phosphorus_ppm": 20.0}),
    ("potassium_ppm", {"potassium_ppm": 150.0})])
def test_the_rest_counts_of_short_cores(qgis_app, tmp_path, name, row):
    record = call(tmp_path, {**row, "bottom_depth": 7.0}, {**row, "bottom_depth": 12.0})
    found = QUANTITIES[name](record)
    assert found.observations.values.tolist() == list(row.values())
    assert [one.fid for one in found.left_out] == [2]


def test_a_ph_keeps_its_method_and_that_methods_error(qgis_app, tmp_path):
    record = call(tmp_path, {"ph": 6.1, "ph_method": "laboratory", "bottom_depth": 7.0},
                  {"ph": 5.9, "ph_method": "meter", "bottom_depth": 7.0},
                  {"ph": 5.8, "bottom_depth": 6.0})
    found = ph_readings(record)
    assert found.methods == ("laboratory", "meter", "")
    assert found.observations.error_variance.tolist() == [0.1**2, 0.25**2, 0.0]
    assert found.warnings == ("probe_points, row 3, pH: how it was found is not entered. Used "
                              "without an error of its own.",)


def test_a_surface_ph_stands_beside_the_samples_own_and_both_are_kept(qgis_app, tmp_path):
    record = call(
        tmp_path,
        {"ph": 6.1, "ph_method": "laboratory", "bottom_depth": 7.0, "surface_ph": 5.4,
         "surface_ph_method": "slurry", "surface_ph_depth": 2.0},
        {"ph": 5.6, "ph_method": "laboratory", "bottom_depth": 2.0},
        {"surface_ph": 5.0, "surface_ph_method": "insertion"})
    assert ph_readings(record).observations.values.tolist() == [6.1]
    found = surface_ph_readings(record)
    assert found.observations.values.tolist() == [5.4, 5.6] and found.fids.tolist() == [1, 2]
    assert found.methods == ("slurry", "laboratory")
    assert found.bottom_m == pytest.approx([2 * 0.0254] * 2, rel=1e-12)
    assert [(one.fid, one.why) for one in found.left_out] == [
        (3, "its depth is not entered. This result counts only of cores no deeper than 4 in.")]
    assert acid_surface_samples(record).tolist() == [1]
    assert ph_readings(record).left_out == () and results_held(record) == ("ph", "surface_ph")


def test_a_record_of_shallow_samples_holds_surface_ph_and_no_other(qgis_app, tmp_path):
    record = call(tmp_path, {"ph": 5.6, "bottom_depth": 2.0}, deep())
    assert results_held(record) == ("nitrate_n_ppm", "surface_ph")
    with pytest.raises(InputProblem, match="holds no pH"):
        ph_readings(record)


def test_a_core_entered_as_of_another_kind_is_used_by_its_depth_and_named(qgis_app, tmp_path):
    found = nitrate_readings(call(tmp_path, deep(core_type="short"), deep(core_type="nitrate")))
    assert len(found.observations) == 2
    assert found.warnings == (
        "probe_points, row 1, Nitrate nitrogen: entered as short core, 7 in (18 cm), but of "
        "another depth. Used by its depth.",)


def test_a_place_outside_the_field_a_lost_place_and_an_impossible_value_are_named(
        qgis_app, tmp_path):
    path = make_call(tmp_path / "a.gpkg")
    append_rows(path, "probe_points", [
        {**PLACE, **deep()}, {**PLACE, **deep(), "x": WEST - 500}, {**PLACE, **deep()},
        {**PLACE, **deep()}])
    change_rows(path, "probe_points", lambda feature: {
        3: {"nitrate_n_ppm": -4.0}}.get(feature.GetFID()))
    change_rows(path, "probe_points", lambda feature: feature.SetGeometry(None) and None
                if feature.GetFID() == 4 else None)
    found = nitrate_readings(open_record(path, only=("probe_points",)))
    whys = {one.fid: one.why for one in found.left_out}
    assert "no place on the map" in whys[4] and "outside the field" in whys[2]
    assert whys[3] == "-4 cannot be. Correct the result."
    assert len(found.observations) + len(found.left_out) == 4


@pytest.mark.parametrize("quantity", QUANTITIES)
def test_a_record_without_results_says_which_are_missing(qgis_app, tmp_path, quantity):
    record = call(tmp_path, {"bottom_depth": 7.0})
    with pytest.raises(InputProblem, match="probe_points holds no .*Enter the results"):
        QUANTITIES[quantity](record)


def test_a_record_in_which_none_fits_says_why(qgis_app, tmp_path):
    with pytest.raises(InputProblem, match="None of 1 results of Nitrate nitrogen can be used. "
                                           "probe_points, row 1.*only 7 in"):
        nitrate_readings(call(tmp_path, deep(bottom_depth=7.0)))


def test_there_is_a_function_for_every_quantity_of_the_samples():
    made = {name for name in dir(probe_readings)
            if name.endswith("_readings") and not name.startswith("_")}
    assert {one.__name__ for one in QUANTITIES.values()} == made
