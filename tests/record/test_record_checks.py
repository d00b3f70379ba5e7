"""Every check reaches the record: right layer, right unit, right row."""
import datetime

import pytest

from plugin.record.read import open_record
from plugin.record.record_checks import CHECKED, DEPTHS, QUANTITIES, record_flags
from plugin.record.schema import LAYERS, layer_spec
from plugin.record.write import append_rows
from tests.algorithms.small_calls import FACTORS, change_rows, make_call, stand_rows, stops

DAY = datetime.datetime(2026, 5, 12, 9)


def flags_of(path, **options):
    return record_flags(open_record(path, only=CHECKED), **options)


def found(path, kind, **options):
    return [(flag.layer, flag.fid) for flag in flags_of(path, **options) if flag.kind == kind]


def dated(rows, day=DAY):
    return [{**row, "taken_at": day + datetime.timedelta(minutes=number)}
            for number, row in enumerate(rows)]


@pytest.fixture
def sound(qgis_app, tmp_path):
    """A US record with a sound stand count at each of 24 stops."""
    return make_call(tmp_path / "call.gpkg", stands=dated(stand_rows()),
                     field={"visit_date": DAY.date()})


def places(count=6):
    return [{"x": x, "y": y, "stop": number, "taken_at": DAY}
            for number, (x, y) in enumerate(stops()[:count], 1)]


def test_a_sound_record_has_no_flag(sound):
    assert flags_of(sound, today=datetime.date(2026, 6, 1)) == []


def test_an_empty_record_lacks_its_dates_alone(qgis_app, tmp_path):
    assert [flag.kind for flag in flags_of(make_call(tmp_path / "call.gpkg"))] == [
        "missing_setting"]


@pytest.mark.parametrize("units", ["us", "metric"])
def test_plants_per_area_typed_as_plants_counted(qgis_app, tmp_path, units):
    rows = dated(stand_rows(units))
    rows[4]["plants"] = {"us": 28_000, "metric": 69_000}[units]
    path = make_call(tmp_path / "call.gpkg", units, stands=rows)
    assert found(path, "count_basis") == [("stand_counts", 5)]
    assert found(path, "outlier") == [("stand_counts", 5)] or not found(path, "outlier")


@pytest.mark.parametrize(("units", "seeds"), [("us", 34.0), ("metric", 84.0), ("metric", 8.4)])
def test_seeds_typed_on_another_basis(qgis_app, tmp_path, units, seeds):
    path = make_call(tmp_path / "call.gpkg", units, field={"seeds_planted": seeds})
    assert found(path, "count_basis") == [("field", 1)]


@pytest.mark.parametrize(("units", "typed"), [("us", 5.0), ("metric", 2.0)])
def test_seed_depths_in_the_other_unit(qgis_app, tmp_path, units, typed):
    path = make_call(tmp_path / "call.gpkg", units)
    append_rows(path, "seed_depths", [{**row, "depth": typed} for row in places()])
    assert found(path, "depth_unit") == [("seed_depths", None)]


def insertions(path, units, peaks_kpa, depths_m=(0.1, 0.3, 0.5), **columns):
    one = FACTORS[units]
    ids = append_rows(path, "compaction_readings", [
        {**row, "means": "gauge", "cone": "small", "moisture": "moist", **{
            name: values[number] for name, values in columns.items()}}
        for number, row in enumerate(places(len(peaks_kpa)))])
    append_rows(path, "compaction_profile", [
        {"of_insertion": reading, "depth": depth / one["depth"],
         "resistance": peak * share / one["pressure"]}
        for reading, peak in zip(ids, peaks_kpa)
        for depth, share in zip(depths_m, (0.4, 1.0, 0.7))])
    return path


@pytest.mark.parametrize("units", ["us", "metric"])
def test_a_day_on_the_scale_of_the_other_cone(qgis_app, tmp_path, units):
    peaks = [1500 + 20 * number for number in range(6)] + [3750 + 50 * number
                                                           for number in range(6)]
    days = [DAY] * 6 + [DAY + datetime.timedelta(days=1)] * 6
    path = insertions(make_call(tmp_path / "call.gpkg", units), units, peaks, taken_at=days)
    assert found(path, "cone_scale") == [("compaction_readings", None)]
    told = next(flag for flag in flags_of(path) if flag.kind == "cone_scale").what
    assert "of 2026-05-13" in told and "of 2026-05-12" in told


def test_cones_moisture_refusals_and_depths_upside_down(qgis_app, tmp_path):
    path = insertions(make_call(tmp_path / "call.gpkg"), "us", [2000.0] * 6,
                      cone=["small", "large", "small", "small", None, "small"],
                      moisture=["moist", "dry", "moist", "moist", "moist", None],
                      refusal=["no", "no", "stone", "no", "no", "no"],
                      deepest=[20.0, 20.0, 4.0, 4.0, 45.0, 20.0],
                      felt_top=[None, None, None, None, None, 12.0],
                      felt_bottom=[None, None, None, None, None, 9.0])
    layer = "compaction_readings"
    assert found(path, "mixed_cones") == [(layer, 2), (layer, 5)]
    assert found(path, "dry_soil") == [(layer, None), (layer, 2)]
    assert found(path, "unlikely_value") == [(layer, 4)]  # a stone stopped row 3
    assert found(path, "depth_unit") == [(layer, 5)]  # 45 cm typed as 45 in
    assert found(path, "impossible_value") == [(layer, 6)]


def test_kilopascals_typed_as_psi(qgis_app, tmp_path):
    path = make_call(tmp_path / "call.gpkg")
    insertions(path, "us", [2000.0 * 6.894757] * 6)
    assert ("compaction_profile", None) in found(path, "pressure_unit")


@pytest.mark.parametrize(("units", "right", "wrong"), [("us", 12.0, 7.0), ("metric", 30.0, 18.0)])
def test_nitrate_of_another_depth_and_numbers_used_twice(qgis_app, tmp_path, units, right, wrong):
    path = make_call(tmp_path / "call.gpkg", units)
    append_rows(path, "probe_points", [
        {**row, "bottom_depth": wrong if number == 2 else right, "nitrate_n_ppm": 15.0 + number,
         "sample_number": f"A{number % 5}"} for number, row in enumerate(places())])
    assert found(path, "core_depth") == [("probe_points", 3)]
    assert found(path, "duplicate") == [("probe_points", 6)]  # A0 again, at another place
    assert found(path, "few_readings") == [("probe_points", None)]


def test_meter_and_laboratory_are_not_compared(qgis_app, tmp_path):
    path = make_call(tmp_path / "call.gpkg")
    rows = [{**row, "bottom_depth": 7.0, "ph": 5.2 + 0.02 * (number % 5),
             "ph_method": "meter"} for number, row in enumerate(places(20))]
    rows += [{**row, "bottom_depth": 7.0, "ph": 6.9 + 0.02 * (number % 5),
              "ph_method": "laboratory"} for number, row in enumerate(places(3))]
    append_rows(path, "probe_points", rows)
    assert found(path, "outlier") == []
    append_rows(path, "probe_points", [
        {"x": stops()[21][0], "y": stops()[21][1], "taken_at": DAY, "bottom_depth": 7.0, "ph": 8.4,
         "ph_method": "meter"}])
    assert found(path, "outlier") == [("probe_points", 24)]


def test_rows_entered_twice_differ_in_nothing_but_their_name(sound):
    rows = dated(stand_rows())
    append_rows(sound, "stand_counts", [rows[2], {**rows[3], "plants": 1 + rows[3]["plants"]}])
    assert found(sound, "duplicate") == [("stand_counts", 25)]


def test_insertions_side_by_side_differ_by_their_profiles(qgis_app, tmp_path):
    path = make_call(tmp_path / "call.gpkg")
    insertions(path, "us", [2000.0] * 3)
    insertions(path, "us", [2000.0, 2100.0, 2200.0])
    assert found(path, "duplicate") == [("compaction_readings", 4)]


def test_places_dates_parts_and_words(sound):
    x, y = stops()[0]
    append_rows(sound, "stand_counts", [
        {"x": x + 900, "y": y, "plants": 30, "length": 17.4, "taken_at": DAY},
        {"x": x, "y": y + 1, "plants": 30, "length": 17.4, "taken_at": datetime.datetime(
            2026, 4, 1)},
        {"x": x, "y": y + 2, "plants": 30, "length": 17.4}])
    change_rows(sound, "stand_counts",
                lambda row: {"method": "Hoop"} if row.GetFID() == 7 else None)
    assert found(sound, "outside_field") == [("stand_counts", 25)]
    assert found(sound, "odd_date") == [("stand_counts", 26)]
    assert found(sound, "missing_date") == [("stand_counts", 27)]
    assert found(sound, "impossible_value") == [("stand_counts", 7)]


def test_stops_in_clusters(qgis_app, tmp_path):
    spots = [(x + east, y + north) for x, y in stops()[::6] for east in (0, 3) for north in (0, 3)]
    path = make_call(tmp_path / "call.gpkg", stands=dated(stand_rows(places=spots)))
    assert found(path, "clustered_stops") == [("stand_counts", None)]


def test_without_a_row_width_the_field_says_so(sound):
    change_rows(sound, "field", lambda row: {"row_width": None})
    assert found(sound, "missing_setting") == [("field", 1)]


def test_every_column_named_is_one_of_the_record():
    for name, column in QUANTITIES:
        assert layer_spec(name).column(column)
    assert {"in", "cm"} == set(DEPTHS)
    assert set(CHECKED) == {spec.name for spec in LAYERS} - {"yield_points"}
