"""What a record says on possible causes, read for the tests of them."""
import numpy as np
import pytest

from plugin.core.decide.findings.findings import NOT_LOOKED_AT, findings
from plugin.record.findings_readings import cause_readings
from plugin.record.read import open_record
from plugin.record.write import append_rows
from tests.algorithms.small_calls import (
    FACTORS,
    NO_PAN,
    SOUTH,
    WEST,
    change_field,
    make_call,
    profile_of,
    stand_rows,
    stops,
    whole_call,
)

PLACE = {"x": WEST + 50, "y": SOUTH + 50}


def read(path, **options):
    return cause_readings(open_record(path), **options)


@pytest.fixture
def call(qgis_app, tmp_path):
    """Return call(units, **options): a record with stands and insertions at 24 stops."""
    def made(units="us", **options):
        return whole_call(tmp_path / f"{units}.gpkg", units, **options)
    return made


@pytest.mark.parametrize("units,unit_m", [("us", 0.0254), ("metric", 0.01)])
def test_depths_come_in_the_records_unit_and_no_pan_is_never(call, units, unit_m):
    walk = read(call(units)).walk
    assert len(walk.stand) == len(walk.pan_top) == 24 and walk.depth_unit in ("in", "cm")
    north = walk.pan_top.positions_m[:, 1] > SOUTH + 90
    # The profile passes the limit half way from 20 to 25 cm.
    assert walk.pan_top.values[north] * unit_m == pytest.approx(np.full(north.sum(), 0.225))
    assert np.isinf(walk.pan_top.values[~north]).all() and walk.lacks.keys() == {
        "row_counts", "nitrate_n_ppm", "ph"}


def test_a_stop_not_probed_as_deep_as_the_tool_goes_is_not_one_without_a_pan(
        qgis_app, tmp_path):
    shallow = profile_of(None, None, deepest_m=0.3)  # the tool goes 0.45 m
    path = make_call(tmp_path / "a.gpkg", insertions=[
        {"x": x, "y": y, "stop": number, "means": "gauge", "cone": "small"}
        for number, (x, y) in enumerate(stops()[:3], 1)],
        profiles=[NO_PAN, shallow, profile_of(0.225, 0.325)])
    tops = read(path).walk.pan_top.values
    assert len(tops) == 2 and np.isinf(tops[0])


def test_stops_are_in_the_headland_by_row_ends_by_the_edge_or_as_noted(call):
    record = call(field={"row_heading": 0.0, "planter_rows": 10})
    walk = read(record).walk
    # Two planter widths are 2 x 10 x 30 in = 15.24 m: no stop, the nearest is 20 m from the edge.
    assert walk.headland == "within 50 ft of the row ends or noted as headland"
    assert not walk.at_row_end.any()
    where = walk.stand.positions_m
    north_or_south = np.isin(where[:, 1] - SOUTH, (20, 180))
    wide = read(record, headland=25 / 0.3048).walk
    # The row at x = WEST + 180 meets the cut corner at y = SOUTH + 175, 35 m from its last stop.
    assert wide.at_row_end.tolist() == north_or_south.tolist()
    change_field(record, row_heading=90.0)
    assert read(record, headland=25 / 0.3048).walk.at_row_end.tolist() == np.isin(
        where[:, 0] - WEST, (20, 180)).tolist()
    change_field(record, row_heading=None)
    edge = read(record, headland=25 / 0.3048).walk
    assert "the field's edge" in edge.headland and edge.at_row_end.sum() > north_or_south.sum()
    change_field(record, planter_rows=None)
    append_rows(record, "compaction_readings", [
        {"x": where[3, 0], "y": where[3, 1], "means": "felt", "place": "headland"}])
    noted = read(record).walk
    assert noted.headland == "noted as headland" and np.flatnonzero(noted.at_row_end) == [3]


def test_wheel_tracks_are_compared_down_to_where_the_shortest_profile_ends(qgis_app, tmp_path):
    places = [("wheel_track", 1, "small"), ("between_rows", 1, "small"), ("row", 2, "small"),
              ("wheel_track", 1, "large"), ("headland", 1, "small")]
    profiles = [([0.1, 0.2, 0.3], [900.0, 1100.0, 5000.0]), ([0.1, 0.2], [700.0, 800.0]),
                ([0.1], [500.0]), ([0.1], [9000.0]), ([0.1], [9000.0])]
    path = make_call(tmp_path / "a.gpkg", "metric", insertions=[
        {**PLACE, "stop": stop, "means": "gauge", "cone": cone, "place": place}
        for place, stop, cone in places], profiles=profiles)
    tracks = read(path, units_checked=True).walk.tracks
    assert tracks.values.tolist() == [1000.0, 750.0, 500.0, 9000.0]  # the first to 0.2 m alone
    assert tracks.kinds.tolist() == [True, False, False, True]
    assert tracks.stops[0] == tracks.stops[1] and len(set(tracks.stops)) == 3  # cones apart


def test_seeds_notes_and_roots_come_as_entered_and_none_means_none(call):
    record = call()
    append_rows(record, "seed_depths", [
        {**PLACE, "stop": 1, "depth": 2.0, "emerged": True}, {**PLACE, "stop": 1, "depth": 3.0},
        {**PLACE, "stop": 2, "depth": 1.0, "emerged": False}, {**PLACE, "stop": 2}])
    append_rows(record, "scout_notes", [
        {**PLACE, "subject": "insect", "plants_checked": 20, "plants_affected": 0},
        {**PLACE, "subject": "insect"}, {**PLACE, "subject": "disease", "incidence": 0.0},
        {**PLACE, "subject": "root", "root_rating": 2}, {**PLACE, "seen": "nothing said"}])
    append_rows(record, "stand_counts", [{**PLACE, "method": "hoop", "evenness": "very_uneven"}])
    walk = read(record).walk
    assert walk.seed_depths.values.tolist() == [2.0, 3.0, 1.0]
    assert walk.seeds.values.tolist() == [2.0, 1.0] and walk.seeds.kinds.tolist() == [False, True]
    assert walk.notes.subjects == ("insect", "insect", "disease", "root")
    assert walk.notes.present.tolist() == [False, True, False, True]
    assert walk.root_ratings == (2.0,) and walk.unevenness.values.tolist() == [2.0]


def test_an_empty_record_was_looked_at_for_nothing_in_the_readers_words(qgis_app, tmp_path):
    readings = read(make_call(tmp_path / "a.gpkg"))
    found = findings(readings.walk)
    assert {one.verdict for one in found.causes} == {NOT_LOOKED_AT} and found.tests == 0
    told = {one.cause: one.not_looked_at for one in found.causes}
    assert "probe_points holds no pH" in told["ph"][0]
    assert "row_counts holds no row" in told["row_unit"][0]
    assert "compaction_readings holds no reading" in told["compaction"][0]
    assert "stand_counts holds no reading" in told["traffic"][0]


def test_readings_that_cannot_be_are_left_out_and_told(qgis_app, tmp_path):
    rows = stand_rows()
    rows[0]["plants"], rows[1]["x"] = None, WEST - 500
    one = FACTORS["us"]
    path = make_call(tmp_path / "a.gpkg", stands=rows)
    append_rows(path, "probe_points", [{**PLACE, "bottom_depth": 0.15 / one["depth"],
                                        "nitrate_n_ppm": 9.0}])
    readings = read(path)
    assert len(readings.walk.stand) == 22 and len(readings.warnings) == 2
    assert "None of 1 results of Nitrate nitrogen can be used" in readings.walk.lacks[
        "nitrate_n_ppm"]
