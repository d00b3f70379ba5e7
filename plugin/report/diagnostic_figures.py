"""Diagnostics of a surface as a picture: its variogram, readings left out, and where they err."""
from importlib.util import find_spec
from io import BytesIO
from pathlib import Path

import numpy as np

from ..core.long_call import long_call
from ..layers.beside import beside
from .look import ACCENT, INK, PAPER, QUIET, RULE

SIZE_INCHES = (12.0, 4.2)
DOTS_PER_INCH = 150
NOTE_POINTS, TEXT_POINTS, TITLE_POINTS = 6.5, 8, 9.5
FAR_OFF = 2.0   # standard errors from which a reading is marked by a triangle, not a dot
SCALE_END = 3.0  # standard errors at which the colours end
ERROR_COLOURS = "PuOr"  # ColorBrewer: two hues that colour-blind eyes tell apart
ACROSS = "#b35806"      # of the same scheme
# Of the heading and of the line across it: word, marker, its colour and fill, line of the model.
DIRECTIONS = (("along", "^", ACCENT, ACCENT, "-"), ("across", "s", ACROSS, "none", "--"))


def can_draw():
    """Return whether matplotlib, which draws the figures, came with this QGIS."""
    return find_spec("matplotlib") is not None


def write_figures(path, found, *, name, unit, tick=None):
    """Write diagnostics as one PNG: variogram, left out against observed, map of the errors.

    A part that the diagnostics lack is a panel that says so. Needs matplotlib (see can_draw).

    Parameters
        path   of the file, ending in .png
        found  dict, as core's `diagnostics` returns it
        name   of the surface, for the heading
        unit   of its values, or ""
        tick   called with 0 every now and then, with 1 at the end; may raise Stopped, and nothing
               is written
    """
    picture = long_call(lambda: _drawn(found, name, unit), tick)
    with beside(path) as unfinished:
        Path(unfinished).write_bytes(picture)
        if tick is not None:
            tick(1.0)


def _drawn(found, name, unit):
    """The PNG's bytes; in memory, as a drawing that is given up must leave no file."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    figure, file = diagnostic_figure(found, name=name, unit=unit), BytesIO()
    FigureCanvasAgg(figure)
    figure.savefig(file, format="png", metadata={"Software": None})
    return file.getvalue()


def diagnostic_figure(found, *, name, unit):
    """Return the matplotlib Figure of `write_figures`; no state outside it is touched."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=SIZE_INCHES, dpi=DOTS_PER_INCH, facecolor=PAPER,
                    constrained_layout=True)
    panels = figure.subplots(1, 3)
    figure.suptitle(_text(name), fontsize=TITLE_POINTS + 2, color=INK, fontweight="bold")
    for panel, title, part, draw in (
            (panels[0], "How readings differ with distance", found["variogram"], _draw_variogram),
            (panels[1], "Each reading predicted from the others", found["left_out"],
             _draw_left_out),
            (panels[2], "Where predictions are off", found["left_out"], _draw_map)):
        panel.set_title(title, fontsize=TITLE_POINTS, color=INK)
        panel.tick_params(labelsize=TEXT_POINTS, colors=QUIET)
        for spine in panel.spines.values():
            spine.set_color(RULE)
        if part is None:
            panel.text(0.5, 0.5, "The readings do not tell.", transform=panel.transAxes,
                       ha="center", va="center", fontsize=TEXT_POINTS, color=QUIET)
            panel.set_xticks([])
            panel.set_yticks([])
        else:
            draw(panel, part, _text(unit))
    return figure


def _draw_variogram(panel, part, unit):
    distance, semivariance = np.array(part["distance_m"]), np.array(part["semivariance"])
    directions = part.get("directions", ())
    _draw_model(panel, part["curve"], directions)
    panel.scatter(distance, semivariance, s=16, color=INK, zorder=3,
                  label="readings, with the number of pairs")
    for one, (word, marker, colour, fill, _) in zip(directions, DIRECTIONS):
        panel.scatter(one["distance_m"], one["semivariance"], s=14, marker=marker, linewidths=0.8,
                      edgecolors=colour, facecolors=fill, zorder=2,
                      label=f"pairs {word} {one['heading_deg']:.0f}°"
                            + ("" if one["pairs"] else ": none"))
    for place, height, pairs in zip(distance, semivariance, part["pairs"]):
        panel.annotate(f"{pairs:,}", (place, height), (3, -9), textcoords="offset points",
                       fontsize=NOTE_POINTS, color=QUIET)
    panel.set_xlim(0, part["cutoff_m"] * 1.06)
    heights = [*semivariance, *part["curve"]["semivariance"]]
    for one in directions:
        heights += [*one["semivariance"], *one["curve"]["semivariance"]]
    panel.set_ylim(min(0.0, min(heights) * 1.1), max(heights) * 1.15 or 1.0)
    _name_axes(panel, "distance, m", f"half mean squared difference{_squared(unit)}")
    panel.legend(loc="lower right", fontsize=NOTE_POINTS, frameon=False)


def _draw_model(panel, curve, directions):
    """The model's curve; one in each direction, where it is not the same in both."""
    same = all(one["curve"] == curve for one in directions)
    shown = [("model of the surface", ACCENT, "-", curve)] if same else [
        (f"model {word} {one['heading_deg']:.0f}°", colour, line, one["curve"])
        for one, (word, _, colour, _, line) in zip(directions, DIRECTIONS)]
    for label, colour, line, points in shown:
        panel.plot(points["distance_m"], points["semivariance"], color=colour, linestyle=line,
                   linewidth=1.6, label=label)


def _draw_left_out(panel, part, unit):
    observed, predicted = np.array(part["observed"]), np.array(part["predicted"])
    ends = [min(observed.min(), predicted.min()), max(observed.max(), predicted.max())]
    margin = 0.05 * (ends[1] - ends[0]) or 1.0
    limits = ends[0] - margin, ends[1] + margin
    panel.plot(limits, limits, color=QUIET, linewidth=0.9, linestyle="--", label="no error")
    panel.errorbar(predicted, observed, xerr=np.array(part["standard_error"]), fmt="o",
                   markersize=3.5, color=INK, ecolor=RULE, elinewidth=0.7, zorder=3,
                   label="reading, with one standard error")
    panel.set_xlim(limits)
    panel.set_ylim(limits)
    _name_axes(panel, f"predicted{_in(unit)}", f"observed{_in(unit)}")
    panel.legend(loc="lower right", fontsize=NOTE_POINTS, frameon=False)


def _draw_map(panel, part, unit):
    east, north = np.array(part["x"]), np.array(part["y"])
    off = np.array(part["standardised_error"])
    for marker, size, chosen in (("o", 22, np.abs(off) < FAR_OFF), ("^", 40, off >= FAR_OFF),
                                 ("v", 40, off <= -FAR_OFF)):
        drawn = panel.scatter(east[chosen], north[chosen], c=off[chosen], s=size, marker=marker,
                              cmap=ERROR_COLOURS, vmin=-SCALE_END, vmax=SCALE_END, linewidths=0.6,
                              edgecolors=INK)
    bar = panel.figure.colorbar(drawn, ax=panel, extend="both", shrink=0.85)
    bar.set_label("observed less predicted, in standard errors\n"
                  f"(triangles: {FAR_OFF:g} or more)", fontsize=NOTE_POINTS, color=INK)
    bar.ax.tick_params(labelsize=NOTE_POINTS, colors=QUIET)
    panel.set_aspect("equal", adjustable="datalim")
    panel.ticklabel_format(style="plain", useOffset=False)
    panel.locator_params(nbins=5)
    _name_axes(panel, "easting, m", "northing, m")


def _name_axes(panel, across, up):
    panel.set_xlabel(across, fontsize=TEXT_POINTS, color=INK)
    panel.set_ylabel(up, fontsize=TEXT_POINTS, color=INK)


def _in(unit):
    return f", {unit}" if unit else ""


def _squared(unit):
    return f", ({unit})²" if unit else ""


def _text(words):
    """Words as they are: a dollar sign would begin a formula."""
    return words.replace("$", r"\$")
