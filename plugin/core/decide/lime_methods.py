"""Lime that a soil needs to reach a pH, by its buffer pH and published methods."""
from dataclasses import dataclass

import numpy as np

from ..problems import InputProblem
from ..units import convert
from .data_table import read_data_table, titles_of_tables

BUFFER_TITLES = {"sikora": "Sikora", "mehlich": "Mehlich", "smp": "SMP"}
REFUSE, CLAMP = "refuse", "clamp"
_LEAST_TARGET = 5.0  # to which anybody limes, where a method names none: this program's choice
_ROUNDING = 1e-9  # pH: a value this little outside a table is on its edge


@dataclass(frozen=True)
class LimeMethod:
    """A method with where it comes from.

    buffer             the laboratory's buffer it is made for, a key of BUFFER_TITLES
    unit               its rates are in, of lime that is `effective_percent` effective
    reference_depth_m  to which its rates lime
    kind               the form of its sum, a key of _NEEDS
    """
    name: str
    title: str
    source: str
    year: str
    region: str
    status_in_words: str
    note: str
    buffer: str
    unit: str
    effective_percent: float
    reference_depth_m: float
    kind: str
    columns: tuple
    rows: np.ndarray


@dataclass(frozen=True)
class LimeNeed:
    """Rates of fully effective lime, and how many places the method's table did not reach.

    rates    of the shape of the buffer pH
    outside  bool, same shape: clamped to the nearest buffer pH of the table
    """
    rates: np.ndarray
    outside: np.ndarray


def lime_methods():
    """Return the methods there are, name -> title."""
    return titles_of_tables("lime_method")


def load_lime_method(name):
    """Return the method of that name, one of `lime_methods()`.

    Raises   InputProblem: there is none
    """
    if name not in lime_methods():
        raise InputProblem(f"There is no lime method called {name}; there are "
                           f"{', '.join(lime_methods())}.")
    table = read_data_table(name)
    head = table.head
    told = {part: head[part] for part in ("title", "source", "year", "region", "status_in_words",
                                          "note", "buffer", "unit")}
    named = table.columns[0] == "name"
    return LimeMethod(
        name=name, kind=head["lime_method"], effective_percent=float(head["effective_percent"]),
        reference_depth_m=float(convert(float(head["reference_depth_in"]), "in", "m")),
        columns=tuple(row[0] for row in table.rows) if named else table.columns,
        rows=np.array([[float(row[1]) for row in table.rows]] if named else table.rows, float),
        **told)


def range_of_targets(method):
    """Return between which target pH a method takes any, (low, high); None where it knows some."""
    if method.kind == "table":
        return float(method.columns[1]), float(method.columns[-1])
    if method.kind == "acidity":
        numbers = dict(zip(method.columns, method.rows[0]))
        return _LEAST_TARGET, float(np.nextafter(numbers["neutral_buffer_ph"], 0))
    return None


def targets_known(method):
    """Return the target pH that a method has an equation for."""
    return tuple(float(row[0]) for row in method.rows)


def lime_needed(method, ph, buffer_ph, *, target_ph, depth_m, unit, outside=REFUSE):
    """Return the fully effective lime that lifts soil to the target pH, to a depth.

    None where the soil is at the target. Rates scale with depth from the method's own. Between
    rows and targets of a table rates are read straight; a buffer pH outside it is refused, or
    read as the nearest one of the table, as `outside` says. Equations are not tables: a negative
    result counts as 0.

    Parameters
        method     LimeMethod
        ph         array, pH of the soil in water
        buffer_ph  array of the same shape
        target_ph  the pH wanted
        depth_m    to which the lime is mixed in or acts, metres
        unit       of the rates wanted, such as ton/ac or t/ha
        outside    REFUSE or CLAMP
    Returns  LimeNeed
    Raises   InputProblem: the method knows no such target, a pH is no pH, or a buffer pH lies
             outside its table
    Source   the head of the method's table; scaling by depth: Penn State and Tri-State guides
    """
    soil, buffer = np.asarray(ph, float), np.asarray(buffer_ph, float)
    for what, values in (("pH", soil), ("buffer pH", buffer)):
        wrong = np.count_nonzero(~((values >= 0) & (values <= 14)))
        if wrong:
            raise InputProblem(f"{wrong} of {values.size} values of {what} are missing or not "
                               "between 0 and 14.")
    if not depth_m > 0:
        raise InputProblem(f"The depth to lime is {depth_m:g} m. Enter a depth above 0.")
    rates, beyond = _NEEDS[method.kind](method, soil, buffer, target_ph)
    wanting = soil < target_ph
    beyond = beyond & wanting
    if beyond.any() and outside == REFUSE:
        raise InputProblem(f"{np.count_nonzero(beyond)} of {buffer.size} buffer pH, such as "
                           f"{buffer[beyond].flat[0]:.2f}, lie outside the table "
                           f"\"{method.title}\". Check the laboratory's buffer, choose another "
                           "method, or let them count as the nearest of the table.")
    full = convert(np.maximum(rates, 0.0), method.unit, unit) * method.effective_percent / 100
    return LimeNeed(np.where(wanting, full * depth_m / method.reference_depth_m, 0.0), beyond)


def _table(method, soil, buffer, target):
    """Straight between buffer pH (rows) and target pH (columns)."""
    targets = np.array([float(column) for column in method.columns[1:]])
    if not targets[0] <= target <= targets[-1]:
        raise InputProblem(f"The table \"{method.title}\" has targets from pH {targets[0]:g} to "
                           f"{targets[-1]:g}; {target:g} was asked for.")
    rows = method.rows[np.argsort(method.rows[:, 0])]
    at_target = [np.interp(target, targets, row[1:]) for row in rows]
    beyond = (buffer < rows[0, 0] - _ROUNDING) | (buffer > rows[-1, 0] + _ROUNDING)
    return np.interp(buffer, rows[:, 0], at_target), beyond


def _acidity(method, soil, buffer, target):
    """Acidity by the buffer, times the share of the way from the soil's pH to the neutral one."""
    numbers = dict(zip(method.columns, method.rows[0]))
    neutral = numbers["neutral_buffer_ph"]
    if target >= neutral:
        raise InputProblem(f"The method \"{method.title}\" has targets below pH {neutral:g}; "
                           f"{target:g} was asked for.")
    acidity = np.maximum(numbers["acidity_per_ph"] * (neutral - buffer), 0.0)
    way = np.where(soil < target, (target - soil) / np.where(soil < target, neutral - soil, 1), 0)
    return acidity * way, np.zeros(buffer.shape, bool)


def _line(method, soil, buffer, target):
    """Constant and slope by target, on the lime test index, ten times the buffer pH."""
    constant, slope = _row_of_target(method, target)
    return constant + slope * 10 * buffer, np.zeros(buffer.shape, bool)


def _parabola(method, soil, buffer, target):
    """Constant, slope and curve by target, on the buffer pH."""
    constant, slope, curve = _row_of_target(method, target)
    bottom = -slope / (2 * curve)  # the equation turns up again beyond: no lime is needed there
    held = np.minimum(buffer, bottom)
    return constant + slope * held + curve * held**2, np.zeros(buffer.shape, bool)


def _row_of_target(method, target):
    for row in method.rows:
        if np.isclose(row[0], target):
            return row[1:]
    known = ", ".join(f"{row[0]:g}" for row in method.rows)
    raise InputProblem(f"The method \"{method.title}\" has equations for target pH {known}; "
                       f"{target:g} was asked for.")


_NEEDS = {"table": _table, "acidity": _acidity, "line": _line, "parabola": _parabola}
