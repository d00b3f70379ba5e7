"""Rows of text tables: a quote that is left open hides no row."""
import io

import pytest

from plugin.core.intake.no_reading import why_no_reading
from plugin.core.intake.text_table import OpenQuote, rows_of_text

NAMES = ("stop", "lon", "lat", "note")
HEAD = "stop,lon,lat,note\n"


def rows_in(text):
    return list(rows_of_text(io.StringIO(HEAD + text, newline=""), ","))[1:]


@pytest.mark.parametrize("text,hidden,plain", [
    ('1,-93,39,"dry\n2,-93,39,\n3,-93,39,"wet"\n4,-93,39,\n', [2, 3, 4], [5]),
    ('1,-93,39,\n2,-93,39,"dry\n3,-93,39,\n4,-93,39,\n', [3, 4, 5], [2]),  # to the end
    ('1,"x,39,\n2,"y,39,\n3,-93,39,\n', [2, 3], [4]),
    ('1,-93,39,\n2,"x,39,\n3,-93,39,', [3, 4], [2]),
    ('1,-93,39,,,x\n2,-93,39,"dry\n3\n4,-93,39,\n', [3, 4, 5], [2]),  # ragged rows too
    ('1,-93,39,"dry\r\n2,-93,39,5"\r\n', [2, 3], [])])
def test_each_line_that_an_open_quote_runs_over_is_a_row_set_aside(text, hidden, plain):
    rows = rows_in(text)
    assert [number for number, _ in rows] == sorted(hidden + plain)
    assert [number for number, cells in rows if isinstance(cells, OpenQuote)] == hidden
    for number, cells in rows:
        why = why_no_reading(cells, NAMES, False)
        assert (f"opened in line {hidden[0]} runs over it" in why) == (number in hidden)
        assert cells[0] == str(number - 1) and "\n" not in cells[-1] and "\r" not in cells[-1]


@pytest.mark.parametrize("text,cells", [
    ('1,-93,39,"wet, cold\nand stony"\n', ["1", "-93", "39", "wet, cold\nand stony"]),
    ('1,-93,39,"wet, cold\n\nsand, clay"\n', ["1", "-93", "39", "wet, cold\n\nsand, clay"]),
    (',"a,\n,"\n', ["", "a,\n,"])])
def test_a_text_of_several_lines_is_one_cell(text, cells):
    (number, found), = rows_in(text)
    assert (number, found) == (2, cells) and not isinstance(found, OpenQuote)


def test_a_header_of_several_lines_stays_whole():
    title, header, row = rows_of_text(io.StringIO(
        'Farm,North\nStop,"Lon\n(deg)",Lat\n1,-93,39\n', newline=""), ",")
    assert header == (2, ["Stop", "Lon\n(deg)", "Lat"]) and row == (4, ["1", "-93", "39"])
