import math

import numpy as np
import pytest

from plugin.core.problems import InputProblem
from plugin.record.read import open_record
from plugin.record.write import append_rows
from plugin.record.yield_readings import yield_readings
from tests.algorithms.small_calls import FACTORS, SOUTH, WEST, change_rows, make_call

RELATIVE = 1e-9  # conversion there and back: rounding alone
ACRE, HECTARE = FACTORS["us"]["area"], 10_000.0
BUSHEL_KG = FACTORS["us"]["grain"]


def flow_rows(units, count=4):
    """Harvest records of one truth: 9 kg/s, 2 m and 6 m, 1 s, 18 % of moisture."""
    one = FACTORS[units]
    return [{"x": WEST + 20 + 2 * number, "y": SOUTH + 30, "season": 2025, "crop": "corn",
             "flow": (9.0 + number) / one["mass"], "moisture": 18.0, "interval_s": 1.0,
             "distance": 2.0 / one["length"], "swath": 6.0 / one["length"], "pass_number": 1}
            for number in range(count)]


def read(path, season=2025):
    return yield_readings(open_record(path, only=("yield_points",)), season)


def call(tmp_path, rows, units="us", **options):
    path = make_call(tmp_path / f"{units}.gpkg", units, **options)
    append_rows(path, "yield_points", rows)
    return path


@pytest.mark.parametrize("units", ["us", "metric"])
def test_yield_from_flow_as_worked_by_hand(qgis_app, tmp_path, units):
    # 9 kg of wet grain on 2 x 6 m2, 82 % of it dry matter, brought to 84.5 %.
    found = read(call(tmp_path, flow_rows(units), units))
    dry = np.array([9, 10, 11, 12]) / 12 * 82 / 84.5  # kg per m2
    expected = dry * ACRE / BUSHEL_KG if units == "us" else dry * HECTARE / 1000
    assert found.yields == pytest.approx(expected, rel=RELATIVE)
    assert found.unit == {"us": "bu/ac", "metric": "t/ha"}[units]
    assert found.distance_m == pytest.approx([2.0] * 4, rel=RELATIVE)
    assert found.swath_m == pytest.approx([6.0] * 4, rel=RELATIVE)
    assert found.positions_m[:, 0].tolist() == [WEST + 20 + 2 * number for number in range(4)]
    assert (found.season, found.crop) == (2025, "corn")


def test_a_dry_yield_as_entered_goes_before_the_flow(qgis_app, tmp_path):
    rows = [{**row, "dry_yield": 180.0 + number} for number, row in enumerate(flow_rows("us"))]
    del rows[2]["dry_yield"]
    found = read(call(tmp_path, rows))
    assert found.yields[[0, 1, 3]].tolist() == [180, 181, 183] and math.isnan(found.yields[2])


def test_only_the_season_asked_for_is_read_in_the_order_of_harvest(qgis_app, tmp_path):
    rows = flow_rows("us")
    for number, row in enumerate(rows):
        row.update(season=2024 + number % 2, pass_number=number)
    path = call(tmp_path, rows)
    assert read(path, 2024).passes.tolist() == [0, 2]
    assert read(path, 2025).passes.tolist() == [1, 3]


def test_a_season_that_is_not_there_is_refused_with_those_that_are(qgis_app, tmp_path):
    path = call(tmp_path, flow_rows("us"))
    with pytest.raises(InputProblem, match="yield_points holds no record of 2020; it holds 2025"):
        read(path, 2020)
    with pytest.raises(InputProblem, match="no record of 2020; it holds none at all"):
        read(make_call(tmp_path / "empty.gpkg"), 2020)


def test_two_crops_in_one_season_are_refused(qgis_app, tmp_path):
    rows = flow_rows("us")
    rows[3]["crop"] = "soybean"
    with pytest.raises(InputProblem, match="2025 holds corn and soybean. Keep one crop a season"):
        read(call(tmp_path, rows))


def test_without_a_crop_of_their_own_records_are_of_the_fields_crop(qgis_app, tmp_path):
    rows = [{**row, "crop": None} for row in flow_rows("us")]
    found = read(call(tmp_path, rows, field={"crop": "soybean"}))
    # 60 lb a bushel, and brought to 13 %.
    assert found.yields[0] == pytest.approx(9 / 12 * 82 / 87 * ACRE / (BUSHEL_KG * 60 / 56),
                                            rel=RELATIVE)
    with pytest.raises(InputProblem, match="no standard moisture for None.*Give dry yields"):
        (tmp_path / "us.gpkg").unlink()
        read(call(tmp_path, rows, field={"crop": None}))


@pytest.mark.parametrize("column,value", [
    ("flow", None), ("flow", math.nan), ("distance", 0.0), ("swath", None), ("moisture", None),
    ("interval_s", None)])
def test_a_record_that_lacks_something_has_no_yield_and_keeps_its_place(
        qgis_app, tmp_path, column, value):
    path = call(tmp_path, flow_rows("us"))
    change_rows(path, "yield_points", lambda feature: {column: value}
                if feature.GetFID() == 2 else None)
    found = read(path)
    assert np.isnan(found.yields).tolist() == [False, True, False, False]
    assert len(found.positions_m) == 4
