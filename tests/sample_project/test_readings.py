"""The readings of the sample field, drawn from its truth."""
from collections import Counter, defaultdict

import numpy as np
import pytest

from plugin.record.schema import LAYERS, layer_spec
from sample_project import boundary, truth
from sample_project.readings import field_row, readings


@pytest.fixture(scope="module")
def rows():
    return readings()


def places_of(rows):
    return np.array([(row["x"], row["y"]) for row in rows])


def profiles_of(rows):
    found = defaultdict(list)
    for row in rows["compaction_profile"]:
        found[row["of_insertion"]].append((row["depth"], row["resistance"]))
    return {insertion: np.array(sorted(pairs)).T for insertion, pairs in found.items()}


def test_the_same_seed_gives_the_same_rows(rows):
    assert readings() == rows


def test_there_are_as_many_readings_as_stated(rows):
    assert {layer: len(of_layer) for layer, of_layer in rows.items()} == {
        "stand_counts": 45, "row_counts": 42 * 4, "seed_depths": 30, "compaction_readings": 60,
        # 54 gauge insertions of 18 readings, and two that ended on stones after 4 each.
        "compaction_profile": 54 * 18 + 2 * 4, "probe_points": 25, "scout_notes": 14}


def test_no_reading_id_comes_twice(rows):
    ids = [row["reading_id"] for of_layer in rows.values() for row in of_layer]
    assert len(set(ids)) == len(ids)


def test_every_point_lies_in_the_field(rows):
    for layer, of_layer in rows.items():
        if layer_spec(layer).geometry == "point":
            assert boundary.inside(boundary.to_local(places_of(of_layer))).all(), layer


def test_every_child_row_has_its_parent(rows):
    for spec in LAYERS:
        if spec.parent and spec.name in rows:
            parent, column = spec.parent
            known = {row["reading_id"] for row in rows[parent]}
            assert {row[column] for row in rows[spec.name]} <= known


def test_counts_of_single_rows_add_up_to_their_stop(rows):
    plants = Counter()
    for row in rows["row_counts"]:
        plants[row["of_stop"]] += row["plants"]
    taped = [row for row in rows["stand_counts"] if row["method"] == "row_length"]
    assert len(taped) == 42
    assert {row["reading_id"]: row["plants"] for row in taped} == plants


def test_stops_are_spread_over_the_whole_field(rows):
    # 45 stops in 35 ha: 0.78 ha each, 88 m apart on a square net. No place is left farther
    # than 1.5 times that from a stop.
    stops = places_of(rows["stand_counts"])
    across, along = np.meshgrid(np.arange(0.0, 640, 10), np.arange(-10.0, 640, 10))
    local = np.column_stack([across.ravel(), along.ravel()])
    field = boundary.to_map(local[boundary.inside(local)])
    nearest = np.min(np.hypot(*(field[:, None] - stops[None]).transpose(2, 0, 1)), axis=1)
    assert nearest.max() < 132


def test_the_mean_stand_counted_is_near_the_truth_at_the_stops(rows):
    taped = [row for row in rows["stand_counts"] if row["method"] == "row_length"]
    true = truth.truth_at(places_of(taped))["population"]
    counted = np.array([row["plants"] / row["rows"] * 1000 for row in taped])
    # 136 seeds a stop: binomial error of at most 4.3 % of 31,500 a stop, 1,360 plants/ac; the
    # mean of 42 stops is within 3 of its standard errors, 3 x 1,360 / 42**0.5 = 630.
    assert counted.mean() == pytest.approx(true.mean(), abs=630)


def test_row_unit_6_counts_lower_than_its_neighbours_by_its_loss(rows):
    by_stop = defaultdict(dict)
    for row in rows["row_counts"]:
        by_stop[row["of_stop"]][row["row_unit"]] = row["plants"]
    weak = sum(units[6] for units in by_stop.values() if 6 in units)
    beside = sum(plants for units in by_stop.values() if 6 in units
                 for unit, plants in units.items() if unit != 6)
    # 9 stops, some 220 plants expected without loss: 3 standard errors of the share are 0.15.
    assert 3 * weak / beside == pytest.approx(0.65, abs=0.15)


def test_insertions_that_never_meet_the_limit_are_where_there_is_no_pan(rows):
    profiles, never = profiles_of(rows), 0
    for row in rows["compaction_readings"]:
        if row["means"] == "felt" or row["refusal"] == "stone":
            continue
        met = profiles[row["reading_id"]][1].max() >= 300
        assert met == truth.truth_at([(row["x"], row["y"])])["pan"][0]
        never += not met
    assert 15 <= never <= 20


def test_the_limit_is_crossed_within_half_an_inch_of_the_truth(rows):
    profiles, compared = profiles_of(rows), 0
    for row in rows["compaction_readings"]:
        true = truth.truth_at([(row["x"], row["y"])])
        if row["means"] == "felt" or row["refusal"] == "stone" or not true["pan"][0]:
            continue
        depth, resistance = profiles[row["reading_id"]]
        over = np.flatnonzero(resistance >= 300)
        assert (np.diff(over) == 1).all()  # one layer, not broken by noise
        first, last = over[0], over[-1]
        top = np.interp(300, resistance[first - 1:first + 1], depth[first - 1:first + 1])
        bottom = np.interp(-300, -resistance[last:last + 2], depth[last:last + 2])
        assert top == pytest.approx(true["pan_top"][0], abs=0.5)
        assert bottom == pytest.approx(true["pan_bottom"][0], abs=0.5)
        compared += 1
    assert compared >= 35


def test_two_insertions_ended_on_stones_with_a_spike(rows):
    profiles = profiles_of(rows)
    stones = [row for row in rows["compaction_readings"] if row["refusal"] == "stone"]
    assert len(stones) == 2
    for row in stones:
        depth, resistance = profiles[row["reading_id"]]
        assert depth[-1] == row["deepest"] < 9
        assert resistance[-1] > 500 > 300 > resistance[:-1].max()


def test_four_insertions_were_felt_and_have_depths_but_no_profile(rows):
    profiles = profiles_of(rows)
    felt = [row for row in rows["compaction_readings"] if row["means"] == "felt"]
    assert len(felt) == 4
    for row in felt:
        true = truth.truth_at([(row["x"], row["y"])])
        assert row["reading_id"] not in profiles
        # Three times the 0.7 in by which a hand errs, and a quarter inch of rounding.
        assert row["felt_top"] == pytest.approx(true["pan_top"][0], abs=2.35)
        assert row["felt_bottom"] == pytest.approx(true["pan_bottom"][0], abs=2.35)


def test_probes_are_of_two_depths_and_each_has_what_its_depth_is_for(rows):
    depths = Counter(row["bottom_depth"] for row in rows["probe_points"])
    assert depths == {7.0: 15, 12.0: 10}
    for row in rows["probe_points"]:
        assert row["core_type"] == {7.0: "short", 12.0: "nitrate"}[row["bottom_depth"]]
        assert ("nitrate_n_ppm" in row) == (row["bottom_depth"] == 12.0)
        assert ("ph" in row) == ("buffer_ph" in row) == (row["bottom_depth"] == 7.0)


def test_the_field_says_that_it_is_invented():
    row = field_row()
    assert "invented" in row["name"] and "Invented" in row["grower"]
    assert "invented" in row["note"]


def test_every_column_of_the_field_is_filled():
    filled = {name for name, value in field_row().items() if value is not None}
    columns = {column.name for column in layer_spec("field").columns}
    assert columns - filled == {"units"}  # given to create_record by itself
