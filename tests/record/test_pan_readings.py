import math

import numpy as np
import pytest

from plugin.core.observations import ABOVE, BELOW, EXACT
from plugin.core.problems import InputProblem
from plugin.record.pan_readings import pan_readings
from plugin.record.read import open_record
from tests.algorithms.small_calls import (
    FACTORS,
    NO_PAN,
    SOUTH,
    WEST,
    change_rows,
    insertion_rows,
    make_call,
    pan_in_the_north,
    profile_of,
    stops,
    whole_call,
)

PLACE = {"x": WEST + 50, "y": SOUTH + 50}
RELATIVE = 1e-9  # conversion there and back: rounding alone
PAN = profile_of(0.225, 0.325)


def read(path, **options):
    return pan_readings(open_record(path, only=("compaction_readings", "compaction_profile")),
                        **options)


def call(tmp_path, rows, profiles=None, units="us", **options):
    """A record with one insertion a row, all with the pan unless profiles are given."""
    return make_call(tmp_path / "a.gpkg", units, insertions=[{**PLACE, **row} for row in rows],
                     profiles=profiles or [PAN] * len(rows), **options)


def test_top_and_bottom_lie_where_resistance_passes_the_limit(qgis_app, tmp_path):
    # 800 at 20 cm, 3200 at 25, 3200 at 30, 800 at 35: 2000 kPa is passed half way, 22.5 and 32.5.
    found = read(call(tmp_path, [{"stop": 2}], units="metric"))
    stop, = found.stops
    assert (stop.kind, stop.found, stop.stop, stop.insertions) == ("pan", True, 2, 1)
    assert (stop.top_m, stop.bottom_m) == pytest.approx((0.225, 0.325), rel=1e-12)
    assert stop.thickness_m == pytest.approx(0.1, rel=1e-12)
    assert (stop.top_censoring, stop.bottom_censoring) == (EXACT, EXACT)
    assert stop.peak == 3200 and stop.reached_m == pytest.approx(0.5)
    # Read every 5 cm: a crossing lies anywhere in its step, 0.05 squared / 12.
    assert stop.error_variance_m2 == pytest.approx(0.05**2 / 12, rel=1e-9)
    assert stop.label == "compaction_readings, stop 2" and found.limit == 2000
    assert found.warnings == () and found.left_out == 0


def test_both_unit_systems_tell_the_same(qgis_app, tmp_path):
    found = {units: read(whole_call(tmp_path / f"{units}.gpkg", units))
             for units in ("us", "metric")}
    us, metric = found["us"], found["metric"]
    psi = FACTORS["us"]["pressure"]
    assert us.limit * psi == pytest.approx(metric.limit, rel=RELATIVE)
    assert len(us.stops) == len(metric.stops) == 24
    for one, other in zip(us.stops, metric.stops):
        assert (one.kind, one.found, one.top_censoring, one.bottom_censoring, one.position_m) == (
            other.kind, other.found, other.top_censoring, other.bottom_censoring, other.position_m)
        assert [one.top_m, one.bottom_m, one.thickness_m, one.reached_m, one.error_variance_m2,
                one.peak * psi] == pytest.approx(
            [other.top_m, other.bottom_m, other.thickness_m, other.reached_m,
             other.error_variance_m2, other.peak], rel=RELATIVE, nan_ok=True)
    north = [place[1] > SOUTH + 90 for place in stops()]
    assert [stop.found for stop in metric.stops] == north and sum(north) == 14


def test_a_limit_given_goes_before_the_records_own(qgis_app, tmp_path):
    path = call(tmp_path, [{}], units="metric")
    # 1800 of the 2400 kPa by which resistance rises over 5 cm.
    assert read(path, limit=2600.0).stops[0].top_m == pytest.approx(0.2 + 0.05 * 0.75)
    assert not read(path, limit=3300.0).stops[0].found


def test_a_limit_that_is_empty_is_asked_for(qgis_app, tmp_path):
    path = call(tmp_path, [{}], field={"pan_limit": None})
    with pytest.raises(InputProblem, match="field, pan_limit: Limit of a pan is empty. Enter"):
        read(path)
    assert read(path, limit=290.0).stops[0].found


def test_insertions_of_a_stop_are_one_stop_by_the_median(qgis_app, tmp_path):
    tops = (0.175, 0.225, 0.325)
    path = call(tmp_path, [{"stop": 1}, {"stop": 1, "x": WEST + 56}, {"stop": 1}, {}],
                [profile_of(top, top + 0.1) for top in tops] + [NO_PAN], units="metric")
    alone, shared = read(path).stops
    assert (shared.top_m, shared.bottom_m) == pytest.approx((0.225, 0.325))
    assert shared.insertions == 3 and shared.position_m == (WEST + 52, SOUTH + 50)
    assert shared.error_variance_m2 == pytest.approx(0.05**2 / 12 / 3)  # three share the error
    assert (alone.stop, alone.label, alone.found) == (-4, "compaction_readings, row 4", False)


def test_no_pan_is_deeper_than_was_looked_and_an_open_one_deeper_than_its_last_reading(
        qgis_app, tmp_path):
    path = call(tmp_path, [{"stop": 1}, {"stop": 2}, {"stop": 3}],
                [NO_PAN, profile_of(0.325, 9.0), profile_of(0.0, 0.225)], units="metric")
    none, open_below, surface = read(path).stops
    assert (none.kind, none.found, none.top_censoring) == ("none", False, ABOVE)
    assert none.top_m == pytest.approx(0.5) and math.isnan(none.bottom_m)
    assert (open_below.kind, open_below.bottom_censoring) == ("open", ABOVE)
    assert open_below.bottom_m == pytest.approx(0.5) and math.isnan(open_below.thickness_m)
    assert (surface.kind, surface.top_censoring) == ("surface", BELOW)
    assert surface.top_m == pytest.approx(0.05) and surface.bottom_m == pytest.approx(0.225)


def test_whether_there_is_a_pan_within_reach_is_known_only_where_was_looked(qgis_app, tmp_path):
    shallow = profile_of(None, None, deepest_m=0.3)
    path = call(tmp_path, [{"stop": 1}, {"stop": 2}, {"stop": 3}, {"stop": 4, "refusal": "stone"}],
                [PAN, NO_PAN, shallow, shallow], units="metric")
    stops_found = read(path).stops
    within = [stop.pan_within(0.45) for stop in stops_found]
    # A pan at 22.5; none to 50 cm; none, but only 30 cm deep; a stone.
    assert within[:2] == [1.0, 0.0] and all(map(math.isnan, within[2:]))
    assert stops_found[0].pan_within(0.2) == 0.0  # it lies deeper than such a tool goes
    assert stops_found[2].pan_within(0.31) == 0.0  # 1 cm short of it counts as looked


def test_a_stone_speaks_only_where_no_other_insertion_does(qgis_app, tmp_path):
    stone = profile_of(None, None, deepest_m=0.15)
    path = call(tmp_path, [{"stop": 1, "refusal": "stone"}, {"stop": 2, "refusal": "stone"},
                           {"stop": 2}], [stone, stone, PAN], units="metric")
    found = read(path)
    alone, beside = found.stops
    assert (alone.kind, alone.found) == ("stone", False) and math.isnan(alone.pan_within(0.1))
    assert (beside.kind, beside.top_m) == ("pan", pytest.approx(0.225))
    assert beside.insertions == 2 and beside.error_variance_m2 == pytest.approx(0.05**2 / 12)
    assert found.refused == 2 and len(found.pans) == 3 and found.left_out == 0


def test_a_felt_depth_counts_with_a_larger_error(qgis_app, tmp_path):
    path = call(tmp_path, [
        {"stop": 1, "means": "felt", "cone": "none", "felt_top": 20.0, "felt_bottom": 30.0},
        {"stop": 2, "means": "felt", "felt_top": 25.0, "deepest": 40.0},
        {"stop": 3, "means": "felt", "deepest": 45.0}], [None] * 3, units="metric")
    whole, half, nothing = read(path).stops
    assert (whole.kind, whole.top_m, whole.bottom_m) == ("felt", 0.2, 0.3)
    assert whole.error_variance_m2 == pytest.approx(0.04**2) and math.isnan(whole.peak)
    assert (half.bottom_m, half.bottom_censoring) == (0.4, ABOVE)
    assert (nothing.kind, nothing.found, nothing.top_m) == ("none", False, 0.45)


def test_a_profile_of_one_depth_has_the_error_of_that_depth(qgis_app, tmp_path):
    path = call(tmp_path, [{"stop": 1}, {"stop": 2}],
                [([0.3], [3000.0]), ([0.3, 0.3], [2000.0, 4000.0])], units="metric")
    once, twice = read(path).stops
    for stop in (once, twice):
        assert (stop.kind, stop.top_m, stop.top_censoring) == ("surface", 0.3, BELOW)
        assert stop.error_variance_m2 == pytest.approx(0.3**2 / 12)


LEFT_OUT = {
    "outside": ({"x": WEST - 5}, "the place lies outside the field. Check the point, its CRS"),
    "wheel track": ({"place": "wheel_track"}, "taken in a wheel track, which says nothing of"),
    "another cone": ({"cone": "large"}, "taken with the large cone; most were taken with the ")}


@pytest.mark.parametrize("change,words", LEFT_OUT.values(), ids=LEFT_OUT)
def test_an_insertion_that_does_not_compare_is_left_out_and_named(
        qgis_app, tmp_path, change, words):
    rows = [{**row, **PLACE, "x": PLACE["x"] + 2 * number}
            for number, row in enumerate(insertion_rows()[:5])]
    for number in (1, 3):
        rows[number].update(change)
    found = read(call(tmp_path, rows))
    assert len(found.warnings) == 1
    assert found.warnings[0].startswith(f"compaction_readings, rows 2, 4: {words}")
    assert found.warnings[0].endswith("Left out.")
    assert found.left_out == 2 and len(found.pans) + found.left_out == 5


def test_a_felt_reading_beside_a_gauge_is_of_no_cone(qgis_app, tmp_path):
    rows = [{"cone": "small"}, {"cone": "small"},
            {"means": "felt", "cone": "large", "felt_top": 8.0}]
    assert read(call(tmp_path, rows, [PAN, PAN, None])).left_out == 0


def test_dry_soil_is_told_and_used(qgis_app, tmp_path):
    found = read(call(tmp_path, [{"moisture": "dry"}, {"moisture": "moist", "x": WEST + 30}]))
    assert found.warnings == ("compaction_readings, row 1: taken in dry soil, which reads harder "
                              "than it is for roots. Used; probe again when the soil is moist.",)
    assert len(found.pans) == 2 and found.left_out == 0


@pytest.mark.parametrize("row,profile,words", [
    ({}, None, "there is no profile. Enter depths and resistances in compaction_profile."),
    ({"means": "felt"}, None, "A felt reading needs the depth where it got hard"),
    ({"means": "felt", "felt_top": 12.0, "felt_bottom": 8.0}, None, "The felt bottom, 0.203"),
], ids=["no profile", "nothing felt", "upside down"])
def test_an_insertion_without_a_usable_profile_is_left_out_and_named(
        qgis_app, tmp_path, row, profile, words):
    found = read(call(tmp_path, [{}, row], [PAN, profile]))
    assert found.warnings[0].startswith(f"compaction_readings, row 2: {words}")
    assert found.warnings[0].endswith("Left out.")
    assert (len(found.pans), found.left_out) == (1, 1)


@pytest.mark.parametrize("column,value", [
    ("resistance", math.inf), ("resistance", math.nan), ("resistance", None),
    ("depth", math.nan), ("depth", None), ("depth", math.inf), ("depth", -1.0)])
def test_a_reading_that_is_no_number_leaves_its_insertion_out_alone(
        qgis_app, tmp_path, column, value):
    path = call(tmp_path, [{}, {}])
    change_rows(path, "compaction_profile", lambda feature: {column: value}
                if feature.GetFID() == 15 else None)
    found = read(path)
    assert found.warnings == ("compaction_readings, row 2: A profile holds a depth or a resistance "
                              "that is missing or negative. Left out.",)
    assert (len(found.pans), found.left_out) == (1, 1)
    assert found.stops[0].top_m == pytest.approx(0.225)


def test_an_insertion_without_a_point_is_left_out_and_named(qgis_app, tmp_path):
    from osgeo import gdal
    path = call(tmp_path, [{}, {}])
    dataset = gdal.OpenEx(str(path), gdal.OF_VECTOR | gdal.OF_UPDATE)
    layer = dataset.GetLayerByName("compaction_readings")
    feature = layer.GetFeature(2)
    feature.SetGeometry(None)
    assert layer.SetFeature(feature) == 0
    feature = layer = dataset = None
    found = read(path)
    assert found.warnings == ("compaction_readings, row 2: there is no place on the map. Put a "
                              "point where the probe went in. Left out.",)
    assert (len(found.pans), found.left_out) == (1, 1)


@pytest.mark.parametrize("units,factor,words", [
    # 3200 kPa entered as psi are 22 MPa; 464 psi entered as kPa are soft as foam.
    ("us", FACTORS["us"]["pressure"], r"profiles peak at [0-9,]+ psi or more.*look like kPa"),
    ("metric", 1 / FACTORS["us"]["pressure"],
     r"profiles peak at [0-9,]+ kPa or more.*look like psi: convert")])
def test_pressures_in_another_unit_are_refused_until_they_are_checked(
        qgis_app, tmp_path, units, factor, words):
    depths, resistances = PAN
    path = call(tmp_path, [{}], [(depths, [one * factor for one in resistances])], units)
    with pytest.raises(InputProblem, match=words):
        read(path)
    assert len(read(path, units_checked=True).pans) == 1


def test_a_record_without_usable_insertions_is_refused(qgis_app, tmp_path):
    with pytest.raises(InputProblem, match="compaction_readings holds no reading. Enter the ins"):
        read(make_call(tmp_path / "none.gpkg"))
    path = call(tmp_path, [{"place": "wheel_track"}, {"x": WEST - 9}])
    with pytest.raises(InputProblem, match="None of 2 insertions can be used. compaction_readings"):
        read(path)


def test_nothing_is_lost_whatever_lacks(qgis_app, tmp_path):
    rows = insertion_rows()
    profiles = [pan_in_the_north(*place) for place in stops()]
    for number, (change, _) in enumerate(LEFT_OUT.values()):
        for row in range(number, 24, 6):
            rows[row].update(change)
    profiles[5] = profiles[11] = None
    rows[17]["refusal"] = "stone"
    found = read(make_call(tmp_path / "a.gpkg", insertions=rows, profiles=profiles))
    assert len(found.pans) + found.left_out == 24 and found.left_out == 14
    assert sum(stop.insertions for stop in found.stops) == len(found.pans) == 10
    named = sum(int(np.sum([word.strip(",:").isdigit() for word in
                            warning.split("taken")[0].split("the ")[0].split()]))
                for warning in found.warnings)
    assert named == 14  # each row left out is named once
