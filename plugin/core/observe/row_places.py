"""Places of readings that were written down as row and distance, without a receiver."""
from dataclasses import dataclass

import numpy as np

from ..problems import InputProblem

SHORTEST_LINE_M = 1.0  # two points nearer than this tell no direction: this program's own choice


@dataclass(frozen=True)
class RowLine:
    """A row that is known on the map: where it starts and where it leads.

    start_m            (2,) easting and northing, metres
    heading_deg        of the walk along it, clockwise from grid north, 0 up to 360
    point_error_m      standard error of a known point along either axis, metres
    heading_error_deg  standard error of a heading that was typed; None where two points gave it
    length_m           from the start to the second point; None where the heading was typed
    """
    start_m: tuple
    heading_deg: float
    point_error_m: float
    heading_error_deg: float = None
    length_m: float = None


def row_between(start_m, second_m, *, point_error_m):
    """Return the RowLine that starts at one point and leads through another.

    Raises   InputProblem: the two lie less than SHORTEST_LINE_M apart, or one is no place
    """
    start, second = np.asarray(start_m, float), np.asarray(second_m, float)
    east, north = second - start
    length_m = float(np.hypot(east, north))
    if not length_m >= SHORTEST_LINE_M:
        raise InputProblem(f"The start and the second point lie {length_m:.2f} m apart and give "
                           "no direction. Take a second point further along the row.")
    heading = float(np.rad2deg(np.arctan2(east, north))) % 360
    return RowLine(tuple(start.tolist()), heading, point_error_m, length_m=length_m)


def row_along(start_m, heading_deg, *, point_error_m, heading_error_deg):
    """Return the RowLine that starts at a point and leads along a heading; 360 is 0, -90 is 270.

    Raises   InputProblem: the heading is not a number
    """
    if not np.isfinite(heading_deg):
        raise InputProblem(f"The heading is {heading_deg}. Enter degrees clockwise from north.")
    start = tuple(np.asarray(start_m, float).tolist())
    return RowLine(start, float(heading_deg) % 360, point_error_m,
                   heading_error_deg=heading_error_deg)


def places_in_rows(line, rows_right, distance_m, *, row_width_m):
    """Return the places (n, 2) of readings, metres, from their rows and distances.

    Parameters
        line         RowLine
        rows_right   (n,) rows over from the line's row, to the right of the walk; left is below 0
        distance_m   (n,) along the rows from the line's start; behind it is below 0
        row_width_m  above 0
    Raises   InputProblem: the row width is not above 0
    """
    _require_width(row_width_m)
    along, right = _axes(line)
    over_m = np.asarray(rows_right, float) * row_width_m
    return (np.array(line.start_m) + np.multiply.outer(np.asarray(distance_m, float), along)
            + np.multiply.outer(over_m, right))


def placement_error_m(line, rows_right, distance_m, *, row_width_m, pace_error, row_error):
    """Return how far places may lie off, (n,) metres: the root of the mean squared distance.

    With d the distance along the row, y the way across the rows, c the error of a known point,
    p the relative error of a pace, w the row width and r the rows by which a count of 100 rows
    is off, the variances are

        along    c2 + (p d)2 + (y a)2
        across   c2 + (d a)2 + (w r)2 |y / w| / 100        where a heading of error a was typed
        along    c2 + (p d)2 + 2 (c y / L)2
        across   c2 (1 - 2 t + 2 t2) + (w r)2 |y / w| / 100, t = d / L,   where two points L apart
                                                                          gave the heading

    and the placement error is the root of along + across. An error of the pace is one and the
    same for the whole walk, so it grows with the distance; miscounted rows are chance and grow
    with the root of the rows. Two points share the error of the start: between them a place is
    known better than at either.

    Parameters
        line         RowLine
        rows_right   (n,) as in places_in_rows
        distance_m   (n,) likewise
        row_width_m  above 0
        pace_error   standard error of the length of a pace, or of the wheel, as a share of it
        row_error    standard error of a count of 100 rows, rows
    Raises   InputProblem: the row width is not above 0
    Source   propagation of errors, first order: Ghilani (2017), Adjustment Computations, 6th ed.,
             ch. 6 (from memory); how errors of rows add up: this program's own model
    """
    _require_width(row_width_m)
    rows, distance = np.asarray(rows_right, float), np.asarray(distance_m, float)
    over_m = rows * row_width_m
    point = line.point_error_m**2
    if line.length_m is None:
        turn = np.deg2rad(line.heading_error_deg)
        along = point + (over_m * turn) ** 2
        across = point + (distance * turn) ** 2
    else:
        share = distance / line.length_m
        along = point + 2 * point * (over_m / line.length_m) ** 2
        across = point * (1 - 2 * share + 2 * share**2)
    along = along + (pace_error * distance) ** 2
    across = across + (row_width_m * row_error) ** 2 * np.abs(rows) / 100
    return np.sqrt(along + across)


def _axes(line):
    heading = np.deg2rad(line.heading_deg)
    return (np.array([np.sin(heading), np.cos(heading)]),
            np.array([np.cos(heading), -np.sin(heading)]))


def _require_width(row_width_m):
    if not (np.isfinite(row_width_m) and row_width_m > 0):
        raise InputProblem(f"The row width is {row_width_m:g} m. Enter the distance from one row "
                           "to the next.")
