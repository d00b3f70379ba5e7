"""placereadings through the door: a table of rows and paces becomes points with their error."""
import numpy as np
import pytest
from osgeo import ogr
from qgis.core import QgsProcessingException, QgsProcessingFeedback

from tests.algorithms.small_calls import CRS, ROW_M, SOUTH, WEST, make_call, sha256

START = f"{WEST + 10},{SOUTH + 10} [{CRS}]"
SECOND = f"{WEST + 10},{SOUTH + 110} [{CRS}]"  # due north


@pytest.fixture(params=["us", "metric"])
def record(qgis_app, tmp_path, request):
    return make_call(tmp_path / "call.gpkg", request.param)


@pytest.fixture
def table(tmp_path):
    """Rows of a field book, with decimal commas, one without a row and one that is no number."""
    path = tmp_path / "paces.csv"
    lines = [f"{n};{1 + 10 * n};{8 * n};{str(6 + n / 10).replace('.', ',')};ok"
             for n in range(1, 13)]
    path.write_text("\n".join(["stop;row;paces;ph;note", *lines, "13;;20;6,1;none",
                               "14;x;20;6,1;bad"]) + "\n", encoding="utf-8")
    return path


def run_with(run, record, table, out, **options):
    return run("placereadings", **{
        "RECORD": record, "INPUT": table, "ROW_FIELD": "row", "DISTANCE_FIELD": "paces",
        "START": START, "SECOND": SECOND, "DISTANCE_UNIT": 2, "PLACED": out / "placed.gpkg",
        **options})


def placed(out):
    source = ogr.Open(str(out / "placed.gpkg"))
    return [(row.GetGeometryRef().GetX(), row.GetGeometryRef().GetY(), row.items())
            for row in source.GetLayer(0)]


def test_rows_lie_right_of_the_walk_and_keep_their_columns(run, record, table, out):
    before = sha256(record), sha256(table)
    made = run_with(run, record, table, out)
    points = placed(out)
    assert made["PLACED_ROWS"] == 12 == len(points) and made["LEFT_OUT"] == 2
    assert any("row 13, 14" in word or "rows 13, 14" in word for word in run.warnings)
    for number, (x, y, row) in enumerate(points, 1):
        assert x == pytest.approx(WEST + 10 + 10 * number * ROW_M)  # row 1 is that of the start
        assert y == pytest.approx(SOUTH + 10 + 8 * number)
        assert row["stop"] in (number, str(number)) and row["note"] == "ok"
        assert (row["easting"], row["northing"]) == (x, y)
    errors = [row["placement_error_m"] for *_, row in points]
    # Row 2: c 3 m, t = 8 / 100, y = 7.62 m, 3 % of 8 m, (1 row of 100) over 10 rows.
    share = 8 / 100
    assert errors[0] ** 2 == pytest.approx(
        9 + (0.03 * 8) ** 2 + 2 * (3 * 7.62 / 100) ** 2 + 9 * (1 - 2 * share + 2 * share**2)
        + ROW_M**2 * 10 / 100)
    assert made["GREATEST_ERROR"] == max(errors)
    assert (sha256(record), sha256(table)) == before


def test_rows_may_grow_to_the_left_and_start_elsewhere(run, record, table, out):
    made = run_with(run, record, table, out, ROWS_GROW=1, FIRST_ROW=11)
    assert placed(out)[1][0] == pytest.approx(WEST + 10 - 10 * ROW_M)
    assert made["OUTSIDE"] == 10  # from row 31 on beyond the field's edge, 10 m to the west
    assert any("placed outside the field" in warning for warning in run.warnings)


def test_paces_get_their_length_from_a_walk_or_typed(run, record, table, out):
    length = {"us": 0.3048, "metric": 1.0}[record_units(record)]
    made = run_with(run, record, table, out, DISTANCE_UNIT=0, KNOWN_DISTANCE=100 / length,
                    PACES="110; 112; 114")
    assert placed(out)[0][1] == pytest.approx(SOUTH + 10 + 8 * 100 / 112)
    assert made["PACE_USED"] == "0.893 m, error 2.1%"
    run_with(run, record, table, out, DISTANCE_UNIT=0, PACE=0.8 / length)
    assert placed(out)[0][1] == pytest.approx(SOUTH + 10 + 8 * 0.8)


def record_units(path):
    from plugin.record.read import open_record
    return open_record(path, only=()).units.name


def test_along_a_line_no_row_is_needed(run, record, table, out):
    made = run_with(run, record, table, out, ROW_FIELD=None, SECOND=None, HEADING=0,
                    HEADING_ERROR=2)
    points = placed(out)
    assert made["PLACED_ROWS"] == 14
    # 3 degrees east of 500 km at 40 degrees north the grid leans by next to nothing.
    assert [x for x, *_ in points] == pytest.approx([WEST + 10] * 14, abs=0.01)
    assert points[3][2]["placement_error_m"] ** 2 == pytest.approx(
        18 + (0.03 * 32) ** 2 + (32 * np.deg2rad(2)) ** 2)


def test_with_a_value_its_error_follows_the_distance(run, record, table, out):
    run_with(run, record, table, out, VALUE_FIELD="ph")
    errors = [row["value_error"] for *_, row in placed(out)]
    assert all(np.isfinite(errors)) and min(errors) >= 0 and max(errors) > 0
    assert [row["ph"] for *_, row in placed(out)] == pytest.approx(6.1 + np.arange(12) / 10)


def test_a_value_that_is_no_number_stays_as_it_was_written(run, record, table, out):
    table.write_text(table.read_text().replace("6,1;ok", "<6;ok"), encoding="utf-8")
    run_with(run, record, table, out, VALUE_FIELD="ph")
    rows = [row for *_, row in placed(out)]
    assert (rows[0]["ph"], rows[1]["ph"]) == ("<6", "6,2")
    assert rows[0]["value_error"] is None and rows[1]["value_error"] >= 0


@pytest.mark.parametrize(("options", "words"), [
    ({"SECOND": None}, "either SECOND"), ({"HEADING": 90}, "either SECOND"),
    ({"SECOND": START}, "0.00 m apart"), ({"DISTANCE_UNIT": 0}, "enter PACE"),
    ({"PACE": 2.5}, "not in paces"), ({"KNOWN_DISTANCE": 100}, "belong together"),
    ({"DISTANCE_UNIT": 0, "KNOWN_DISTANCE": 300, "PACES": "110; many"}, "no list of numbers"),
    ({"DISTANCE_UNIT": 0, "KNOWN_DISTANCE": 300, "PACES": "110"}, "1 walk"),
    ({"DISTANCE_UNIT": 0, "PACE": 30}, "people pace"), ({"ROW_FIELD": "note"}, "none of 14 rows"),
    ({"DISTANCE_FIELD": "nothing"}, "no column nothing|DISTANCE_FIELD")])
def test_what_cannot_be_placed_is_refused_and_nothing_is_written(run, record, table, out, options,
                                                                 words):
    with pytest.raises(QgsProcessingException, match=words):
        run_with(run, record, table, out, **options)
    assert not list(out.iterdir())


def test_an_empty_table_and_one_reading(run, record, out, tmp_path):
    table = tmp_path / "one.csv"
    table.write_text("row,paces\n")
    with pytest.raises(QgsProcessingException, match="none of 0 rows|INPUT"):
        run_with(run, record, table, out)
    table.write_text("row,paces\n5,30\n")
    assert run_with(run, record, table, out)["PLACED_ROWS"] == 1


def test_a_column_that_placing_would_write_is_refused(run, record, out, tmp_path):
    table = tmp_path / "again.csv"
    table.write_text("row,paces,easting\n5,30,1\n")
    with pytest.raises(QgsProcessingException, match="column easting already"):
        run_with(run, record, table, out)


def test_a_cancelled_run_with_values_writes_nothing(run, record, table, out):
    feedback = QgsProcessingFeedback()
    feedback.cancel()
    assert run_with(run, record, table, out, feedback=feedback, VALUE_FIELD="ph") == {}
    assert not list(out.iterdir())
