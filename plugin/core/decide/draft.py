"""Draft, power, fuel and time of deep tillage by ASABE D497, from depth, tool, soil and tractor."""
from dataclasses import dataclass

import numpy as np

from ..problems import InputProblem
from .checks import require_number
from .data_table import read_data_table

DRAFT, TRACTION, FUEL = "draft_d497", "traction_d497", "fuel_d497"
TEXTURES = ("fine", "medium", "coarse")
SURFACES = ("firm", "tilled", "soft")


@dataclass(frozen=True)
class Outfit:
    """A tool behind a tractor, on one soil; SI units throughout.

    tool              name in the draft table
    texture           of the soil: fine (clay), medium (loam) or coarse (sand)
    tools             shanks, points or bottoms; not asked of a tool counted by its width
    width_m           working width
    speed_km_h        in the field
    field_efficiency  share of the time in which the tool works, 0 to 1
    tractor           name in the traction table
    surface           firm, tilled or soft
    rated_pto_kw      rated power at the take-off
    """
    tool: str
    texture: str
    tools: float
    width_m: float
    speed_km_h: float
    field_efficiency: float
    tractor: str
    surface: str
    rated_pto_kw: float

    def __post_init__(self):
        for what, value, known in (
                ("tillage_tool", self.tool, tuple(draft_tools())),
                ("soil_texture", self.texture, TEXTURES),
                ("tractor", self.tractor, tractors()), ("tractor_surface", self.surface, SURFACES)):
            if value not in known:
                raise InputProblem(f"{what} is {value or 'empty'}. Choose one of "
                                   f"{', '.join(known)}.")
        if counts_tools(self.tool):
            require_number("tillage_shanks", self.tools, "shanks or points", at_least=1)
        require_number("machine_width", self.width_m, "m", above=0)
        require_number("tillage_speed", self.speed_km_h, "km/h", above=0)
        require_number("field_efficiency", self.field_efficiency, "0 to 1", above=0, at_most=1)
        require_number("tractor_power", self.rated_pto_kw, "kW", above=0)


@dataclass(frozen=True)
class Pass:
    """What working at some depths takes; arrays of the shape of the depths.

    draft_n, drawbar_kw, pto_kw   pull, and the power behind it
    load            share of the tractor's rated power; above 1 it cannot pull the tool there
    fuel_l_per_ha   diesel
    hours_per_ha    of the outfit
    """
    draft_n: np.ndarray
    drawbar_kw: np.ndarray
    pto_kw: np.ndarray
    load: np.ndarray
    fuel_l_per_ha: np.ndarray
    hours_per_ha: np.ndarray


def draft_tools():
    """Return the tools of the draft table, name -> title."""
    table = read_data_table(DRAFT)
    return {row[0]: row[1] for row in table.rows}


def counts_tools(tool):
    """Return whether a tool's draft is counted by its shanks or points, and not by its width.

    One that the table lacks is not.
    """
    return any(row[0] == tool and row[2] == "tools" for row in read_data_table(DRAFT).rows)


def tractors():
    """Return the names of the tractors in the traction table."""
    return tuple(row[0] for row in read_data_table(TRACTION).rows)


def draft_within(tool):
    """Return the share, 0 to 1, within which the table holds for a tool's draft."""
    return float(_row(DRAFT, tool)["within_percent"]) / 100


def pass_at(depth_m, outfit, *, draft_factor=1.0):
    """Return the Pass of an outfit at depths; a depth of 0 is not worked and takes nothing.

        draft = F (A + B S + C S^2) W T,  drawbar power = draft S / 3.6
        take-off power = drawbar power / traction,  load X = take-off power / rated power
        fuel = (0.22 X + 0.096) rated power,  capacity = S W efficiency / 10 ha/h

    Parameters
        depth_m       array, metres, 0 or more
        outfit        Outfit
        draft_factor  the draft over that of the table, to see how far the result moves
    Returns  Pass
    Raises   InputProblem: a depth is missing or below 0
    Source   ASABE D497.7 (2011), 4.1 draft, traction and fuel at part load, and ASABE EP496 for
             the capacity (section numbers from memory)
    """
    depth = np.asarray(depth_m, float)
    if not (depth >= 0).all():
        raise InputProblem(f"{np.count_nonzero(~(depth >= 0))} of {depth.size} depths are missing "
                           "or below 0.")
    worked = depth > 0
    draft = np.where(worked, draft_factor * _newtons_per_cm(outfit) * 100 * depth, 0.0)
    drawbar = draft / 1000 * outfit.speed_km_h / 3.6
    pto = drawbar / float(_row(TRACTION, outfit.tractor)[outfit.surface])
    load = pto / outfit.rated_pto_kw
    fuel = {name: float(value) for name, value, _ in read_data_table(FUEL).rows}
    litres_per_hour = (fuel["loaded"] * load + fuel["idle"]) * outfit.rated_pto_kw
    hours = np.where(worked, 1 / hectares_per_hour(outfit), 0.0)
    return Pass(draft, drawbar, pto, load, litres_per_hour * hours, hours)


def hectares_per_hour(outfit):
    """Return the field capacity, speed x width x efficiency.

    Source   ASABE EP496, field capacity
    """
    return outfit.speed_km_h * outfit.width_m * outfit.field_efficiency / 10


def sources():
    """Return the tables behind a Pass, as they are to be cited."""
    heads = (read_data_table(name).head for name in (DRAFT, TRACTION, FUEL))
    return tuple(f"{head['title']} ({head['year']}). {head['source']}. "
                 f"Figures {head['status_in_words']}. {head['note']}" for head in heads)


def _newtons_per_cm(outfit):
    row, speed = _row(DRAFT, outfit.tool), outfit.speed_km_h
    size = outfit.tools if row["counts"] == "tools" else outfit.width_m
    a, b, c = (float(row[name]) for name in "abc")
    return float(row[outfit.texture]) * (a + b * speed + c * speed**2) * size


def _row(table, name):
    found = read_data_table(table)
    return next(dict(zip(found.columns, row)) for row in found.rows if row[0] == name)
