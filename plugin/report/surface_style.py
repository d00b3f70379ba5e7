"""Colours of surfaces: a few classes of a sequence that colour-blind readers can tell apart."""
from dataclasses import dataclass

import numpy as np
from qgis.PyQt.QtGui import QColor

from .words import tr

# viridis and cividis (matplotlib, CC0) at equal steps; YlOrBr and Blues from ColorBrewer 2.0
SEQUENCES = {
    "viridis": ("#440154", "#472d7b", "#3b528b", "#2c728e", "#21918c", "#28ae80", "#5ec962",
                "#addc30", "#fde725"),
    "cividis": ("#00224e", "#123570", "#3b496c", "#575d6d", "#707173", "#8a8678", "#a59c74",
                "#c3b369", "#fee838"),
    "YlOrBr": ("#ffffd4", "#fee391", "#fec44f", "#fe9929", "#d95f0e", "#993404"),
    "Blues": ("#eff3ff", "#c6dbef", "#9ecae1", "#6baed6", "#3182bd", "#08519c"),
}
# Colours by how a surface's name starts; the first that fits counts.
_LOOKS = (("stand", "viridis"), ("pan_chance", "Blues"), ("pan", "YlOrBr"), ("yield", "cividis"),
          ("nitrate", "cividis"), ("ph", "YlOrBr"), ("buffer_ph", "YlOrBr"))
_CHANCE = "pan_chance"
CHANCE_LIMITS = (0.05, 0.25, 0.5, 0.75, 0.95)
_STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True)
class SurfaceClass:
    """One class of a surface: values below `upper` (inf for the last), colour and words."""
    upper: float
    colour: QColor
    text: str


def sequence_of(name):
    """Return the key in SEQUENCES of a surface's colours; viridis for a name of no known kind."""
    return next((sequence for start, sequence in _LOOKS if name.startswith(start)), "viridis")


def classes_of_surface(name, values, *, unit="", limits=None):
    """Return the SurfaceClasses that a surface is painted in, in the report and in the project.

    Chances, 0 to 1, have fixed classes printed in percent.

    Parameters
        name    of the surface, such as "pan_top" or "yield_2025"
        values  (n,) finite
        unit    printed behind the class limits
        limits  rising limits of the classes; None: round ones
    """
    if name == _CHANCE:
        return surface_classes(CHANCE_LIMITS, sequence=sequence_of(name), unit="%", scale=100.0)
    return surface_classes(round_limits(values) if limits is None else limits,
                           sequence=sequence_of(name), unit=unit)


def round_limits(values, most=6):
    """Return round class limits over the middle 96 % of the values, at most `most` - 1 of them.

    Values that are all alike have no limit: one class.

    Parameters
        values  (n,) finite
    """
    low, high = np.quantile(values, [0.02, 0.98])
    if high - low <= 1e-9 * max(abs(low), abs(high), 1.0):
        return []
    magnitude = 10.0 ** np.floor(np.log10((high - low) / (most - 1)))
    for factor in _STEPS:
        step = magnitude * factor
        first, last = np.floor(low / step) + 1, np.ceil(high / step) - 1
        if last - first + 1 <= most - 1:
            break
    limits = np.arange(first, last + 1) * step
    return [float(limit) for limit in limits] or [float(np.round((low + high) / 2 / step) * step)]


def colours(sequence, count):
    """Return `count` colours spread over a sequence, the first to the last."""
    stops = [QColor(name) for name in SEQUENCES[sequence]]
    if count == 1:
        return [stops[len(stops) // 2]]
    found = []
    for place in np.linspace(0, len(stops) - 1, count):
        before = min(int(place), len(stops) - 2)
        part = place - before
        low, high = stops[before], stops[before + 1]
        found.append(QColor(*(round(a + part * (b - a)) for a, b in (
            (low.red(), high.red()), (low.green(), high.green()), (low.blue(), high.blue())))))
    return found


def surface_classes(limits, *, sequence, unit, scale=1.0):
    """Return a SurfaceClass for each range the limits part; `scale` multiplies printed limits."""
    def number(value):
        value = round(value * scale, 9)
        return f"{value:,.0f}" if abs(value) >= 100 or value == int(value) else f"{value:,.6g}"

    paints = colours(sequence, len(limits) + 1)
    if not limits:
        return [SurfaceClass(float("inf"), paints[0], tr("the same everywhere"))]
    texts = [tr("below {limit} {unit}").format(limit=number(limits[0]), unit=unit)]
    texts += [tr("{low} to {high} {unit}").format(low=number(low), high=number(high), unit=unit)
              for low, high in zip(limits, limits[1:])]
    texts.append(tr("{limit} {unit} or more").format(limit=number(limits[-1]), unit=unit))
    return [SurfaceClass(upper, paint, text.replace("  ", " ").strip())
            for upper, paint, text in zip([*limits, float("inf")], paints, texts)]
