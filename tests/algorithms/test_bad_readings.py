"""surface, chancemap and nextstops with readings and fields that nobody would wish for."""
import json
import math

import numpy as np
import pytest
from osgeo import gdal

from tests.algorithms.small_calls import SOUTH, WEST, stops

FIELDS = "&field=value:double&field=error:double&field=limit:string&field=words:string"
PLACES = stops()
VALUES = [10 + 3 * math.sin(number) + number % 5 for number in range(24)]
SQUARE = "Polygon (({0} {1}, {2} {1}, {2} {3}, {0} {3}, {0} {1}))".format
INF, NAN = float("inf"), float("nan")


@pytest.fixture
def readings(layer):
    """Return readings(values, places, errors, limits, words): a layer of points."""
    def made(values=VALUES, places=PLACES, errors=None, limits=None, words=None):
        columns = (part or [None] * len(values) for part in (errors, limits, words))
        return layer("Point", [(place and f"Point ({place[0]} {place[1]})", value, *rest)
                               for place, value, *rest in zip(places, values, *columns)],
                     fields=FIELDS)
    return made


def along(count, step_m=7.0):
    """Places in one line across the field."""
    return [(WEST + 10 + step_m * number, SOUTH + 20 + step_m * number) for number in range(count)]


def with_one(value, place=3):
    return [value if number == place else one for number, one in enumerate(VALUES)]


# What makes a surface all the same: readings, further settings, and words of the verdict.
SERVED = {
    "all in one line": ({"places": along(24)}, {}, "map|mean"),
    "all in one line, with a slope": ({"places": along(24)}, {"DRIFT": 1}, None),
    "two readings": ({"values": [10.0, 12.0], "places": PLACES[:2]}, {}, "2 readings are too few"),
    "all equal": ({"values": [7.0] * 24}, {}, "All 24 readings are equal"),
    "300 at two places": ({"values": [10.0 + n % 7 for n in range(300)],
                           "places": PLACES[:1] * 299 + PLACES[1:2]}, {}, "too few for a map"),
    "a gross outlier": ({"values": with_one(1e12)}, {}, "map|mean"),
    "errors of nothing": ({"errors": [0.0] * 24}, {"ERROR_FIELD": "error"}, "map|mean"),
    "one huge error": ({"errors": with_one(1e9)}, {"ERROR_FIELD": "error"}, "map|mean"),
    "half of them limits": ({"limits": ["above", ""] * 12}, {"CENSOR_FIELD": "limit"}, "map|mean"),
    "a cell larger than the field": ({}, {"CELL": 1000.0}, "map|mean"),
}


@pytest.mark.parametrize("given,settings,words", SERVED.values(), ids=SERVED)
def test_a_bounded_answer_and_what_is_made_of_it(run, refused, readings, field, out, given,
                                                 settings, words):
    given = {"INPUT": readings(**given), "FIELD": "value", "BOUNDARY": field, "CELL": 20.0,
             "SURFACE": out / "s.tif", **settings}
    if words is None:
        refused("cannot be told apart", "surface", **given)
        assert list(out.iterdir()) == []
        return
    verdict = run("surface", **given)["VERDICT"]
    assert any(word in verdict for word in words.split("|"))
    estimate, error = gdal.Open(str(out / "s.tif")).ReadAsArray()
    inside = np.isfinite(estimate)
    assert inside.any()
    assert np.isfinite(error[inside]).all() and (error[inside] >= 0).all()
    run("chancemap", SURFACE=out / "s.tif", LIMIT=11.0, SIDE=1, CHANCE=out / "c.tif")
    chances = gdal.Open(str(out / "c.tif")).ReadAsArray()[0]
    assert (chances[inside] >= 0).all() and (chances[inside] <= 1).all()
    if settings.get("CELL", 20.0) > 200:
        refused("no cell of 1000 m lies in the field with all its neighbours", "nextstops",
                SURFACE=out / "s.tif", LIMIT=11.0, LOSS=5.0, STOPS=out / "n.gpkg")
        return
    found = run("nextstops", SURFACE=out / "s.tif", LIMIT=11.0, LOSS=5.0, STOPS=out / "n.gpkg")
    assert 0 <= found["VALUE"] < math.inf and 0 <= found["LOST_NOW"] < math.inf


# What is refused: readings, further settings, and the words.
REFUSED = {
    "one reading": ({"values": [10.0], "places": PLACES[:1]}, {},
                    r"1 readings give figures at too few places \(1\).*Take readings at more"),
    "none": ({"values": [], "places": []}, {}, "readings, value: none of 0 rows has a point"),
    "300 at one place": ({"values": [10.0 + n % 7 for n in range(300)],
                          "places": PLACES[:1] * 300}, {}, "at too few places"),
    "1e30": ({"values": with_one(1e30)}, {},
             r"readings, row 4, value: 1e\+30 .*cannot be a reading; 1 of 24 .*Correct the figure"),
    "an error of 1e200": ({"errors": with_one(1e200)}, {"ERROR_FIELD": "error"},
                          r"readings, row 4, value: .*error inf\) cannot be a reading"),
    "all missing": ({"values": [None] * 24}, {}, "readings, value: none of 24 rows has a point"),
    "all infinite": ({"values": [INF] * 24}, {}, "none of 24 rows has a point and a value"),
    "a column of words": ({"words": ["dense"] * 24}, {"FIELD": "words"},
                          "readings, words: none of 24 rows has a point and a value"),
    "errors all negative": ({"errors": [-1.0] * 24}, {"ERROR_FIELD": "error"}, "none of 24 rows"),
    "a column that is not there": ({}, {"FIELD": "stand"}, "readings has no column stand"),
    "unknown words of censoring": ({"limits": ["", "deeper"] * 12}, {"CENSOR_FIELD": "limit"},
                                   "readings, row 2, limit: 'deeper' is not above, below or empty"),
    "all limits": ({"limits": ["above"] * 24}, {"CENSOR_FIELD": "limit"},
                   "24 readings give figures at too few places"),
    "a reading on the far side of the world": (
        {"places": [*PLACES[:3], (9e6, 9e6), *PLACES[4:]]}, {},
        r"readings, row 4 lies 9,\d{3} km from the field.*1 of 24"),
    "a place beyond numbers": ({"places": [*PLACES[:3], (1e300, 1e300), *PLACES[4:]]}, {},
                               "readings, row 4 lies"),
    "a cell of a nanometre": ({}, {"CELL": 1e-9},
                              "at most 10,000,000 are drawn. Choose a cell of"),
    "a cell of nothing": ({}, {"CELL": 0.0}, "A cell of 0.0 m was asked for; it must be above 0 m"),
    "a cell below nothing": ({}, {"CELL": -5.0}, "A cell of -5.0 m was asked for"),
    "a model of range 0": ({}, {"MODEL": json.dumps({"family": "exponential", "nugget": 1,
                                                     "partial_sill": 1, "range_m": 0})}, "range"),
    "a model of infinite nugget": ({}, {"MODEL": '{"family": "nugget", "nugget": Infinity}'},
                                   "nugget"),
    "a model of a range beyond numbers": (
        {}, {"MODEL": '{"family": "exponential", "nugget": 1, "partial_sill": 1, "range_m": 1'
             + "0" * 400 + "}"}, "not finite"),
    "a model without an end": ({}, {"MODEL": "[" * 100_000}, "neither the word automatic nor"),
    "a model of NaN": ({}, {"MODEL": '{"family": "nugget", "nugget": NaN}'}, "nugget"),
    "a model of truths": ({}, {"MODEL": '{"family": "nugget", "nugget": true, "range_m": []}'},
                          "no number|range"),
    "an exact model, readings at one place": (
        {"places": [PLACES[1], *PLACES[1:]], "limits": ["", "above"] * 12},
        {"CENSOR_FIELD": "limit", "MODEL": json.dumps({"family": "exponential", "nugget": 0,
                                                       "partial_sill": 4, "range_m": 60})},
        "do not determine the estimates"),
}


@pytest.mark.parametrize("given,settings,words", REFUSED.values(), ids=REFUSED)
def test_what_cannot_be_is_refused_in_words_and_leaves_no_file(refused, readings, field, out,
                                                               given, settings, words):
    refused(words, "surface", **{"INPUT": readings(**given), "FIELD": "value", "BOUNDARY": field,
                                 "CELL": 20.0, "SURFACE": out / "s.tif", "UNSURE": out / "u.gpkg",
                                 "DIAGNOSTICS": out / "s.json", **settings})
    assert list(out.iterdir()) == []


BOUNDARIES = {
    "no row": ([], "readings holds no polygon with an area"),
    "no geometry": ([("",)], "readings holds no polygon with an area"),
    "no area": ([(SQUARE(WEST, SOUTH, WEST, SOUTH + 100),)], "readings holds no polygon with an"),
    "a line in and out": ([("Polygon ((500003 4400002, 500103 4400102, 500003 4400002))",)],
                          "readings holds no polygon with an area|crosses or touches itself"),
    "elsewhere": ([(SQUARE(WEST + 50_000, SOUTH, WEST + 50_100, SOUTH + 100),)],
                  "readings, row 1 lies 4.* km from the field.*24 of 24.*boundary of the field"),
    "beyond numbers": ([(SQUARE(WEST, SOUTH, 1e300, 1e300),)], "at most 10,000,000 are drawn"),
    "a bow tie": ([("Polygon ((500003 4400002, 500103 4400102, 500103 4400002, 500003 4400102, "
                    "500003 4400002))",)], "row 1: the boundary crosses or touches itself"),
}


@pytest.mark.parametrize("rows,words", BOUNDARIES.values(), ids=BOUNDARIES)
def test_a_boundary_that_is_none_is_refused(refused, readings, layer, out, rows, words):
    refused(words, "surface", INPUT=readings(), FIELD="value", BOUNDARY=layer("Polygon", rows),
            CELL=20.0, SURFACE=out / "s.tif")
    assert list(out.iterdir()) == []


def test_too_many_cells_are_refused_with_the_cell_that_fits(refused, run, readings, layer, out):
    wide = layer("Polygon", [(SQUARE(WEST, SOUTH, WEST + 4000, SOUTH + 4000),)])
    refused(r"A cell of 1 m makes 16,\d{3},\d{3} cells; at most 10,000,000 are drawn. Choose a "
            r"cell of 1.3 m or more", "surface", INPUT=readings(), FIELD="value", BOUNDARY=wide,
            CELL=1.0, SURFACE=out / "s.tif")
    assert list(out.iterdir()) == []


def test_rows_that_cannot_be_used_are_named_and_the_rest_makes_the_surface(run, readings, field,
                                                                           out):
    values = [*VALUES[:20], None, INF, NAN, -INF]
    places = [*PLACES[:5], "", *PLACES[6:]]
    found = run("surface", INPUT=readings(values, places), FIELD="value", BOUNDARY=field, CELL=20,
                METHOD=1, SURFACE=out / "s.tif")
    assert (found["USED"], found["LEFT_OUT"]) == (19, 5)
    assert run.warnings == ["readings: no point, no value or no error in 5 rows "
                            "(6, 21, 22, 23, 24); left out."]


def test_doubtful_readings_and_cells_are_told_of(run, readings, field, out):
    places = [(WEST - 30, SOUTH), *PLACES[1:]]
    run("surface", INPUT=readings(with_one(900.0), places), FIELD="value", BOUNDARY=field,
        CELL=1000, METHOD=1, SURFACE=out / "s.tif")
    assert [warning.split(";")[0] for warning in run.warnings] == [
        "readings, row 4, value: 900 lies far from the others (median 11.9622)",
        "1 of 24 readings lie outside the boundary",
        "No cell of 1000 m lies whole in the field. Choose smaller cells."]
    run("surface", INPUT=readings(VALUES, places), FIELD="value", BOUNDARY=field, CELL=20,
        METHOD=1, SURFACE=out / "s.tif")
    assert run.warnings == ["1 of 24 readings lie outside the boundary; they count all the same."]
