"""The maps of a field call: which layers lie on each, and what its legend says."""
from pathlib import Path

from osgeo import gdal
from qgis.core import QgsCoordinateReferenceSystem, QgsGeometry

from ..core.problems import InputProblem
from ..core.units import UNIT_SYSTEMS
from .layers_of_folder import (
    FIELD_LAYER,
    boundary_layer,
    class_layer,
    layer_names,
    read_raster,
    read_vector,
)
from .maps import LegendEntry, MapBlock, colour_entry
from .point_style import mark_symbol, paint_marks, pan_mark
from .polygon_style import (
    boundary_symbol,
    label_zones,
    paint,
    paint_outside,
    paint_plan,
    plan_symbols,
    unsure_symbol,
)
from .surface_style import classes_of_surface
from .words import capital, text_of, tr

_WORK = "work"  # the derived column that joins a zone's action and rate
_MARK = "mark"  # the derived column that names a point's marker


class FolderMaps:
    """Makes the map blocks of one field call's folder; every layer belongs to `project`.

    Parameters
        project       a QgsProject of its own, in the field's CRS afterwards
        folder        the folder of the field call
        boundary_wkb  the field, in crs_wkt
        crs_wkt       a projected CRS in metres, WKT or authority id
        units         "us" or "metric"
    Raises   InputProblem: the CRS is unknown or the boundary is empty
    """

    def __init__(self, project, *, folder, boundary_wkb, crs_wkt, units):
        self._project, self._folder = project, Path(folder)
        self._units = UNIT_SYSTEMS[units]
        self._crs = QgsCoordinateReferenceSystem()
        self._crs.createFromUserInput(crs_wkt)
        if not self._crs.isValid():
            raise InputProblem(tr("The field's coordinate system is not known to QGIS."))
        project.setCrs(self._crs)
        outside, outline = (boundary_layer(boundary_wkb, self._crs) for _ in range(2))
        self._extent = outline.extent()
        if not self._extent.isFinite() or self._extent.isEmpty():
            raise InputProblem(tr("The field's boundary holds no area to draw."))
        paint_outside(outside)
        paint(outline, boundary_symbol())
        self._in_memory = []
        self._outside, self._outline = self._kept(outside), self._kept(outline)

    def _kept(self, layer):
        self._project.addMapLayer(layer, False)
        return layer

    def close(self):
        """Drop every layer, and the rasters that GDAL keeps in memory for them."""
        self._project.clear()
        for path in self._in_memory:
            gdal.Unlink(path)

    def surface(self, name, *, unit, caption, points=None, limits=None):
        """Return the MapBlock of surfaces/<name>.tif, or None where the folder has no such map.

        Parameters
            unit       printed behind the class limits
            points     "stand" or "pan": the observations drawn on it, or None
            limits     rising limits of the classes; None: round ones
        """
        raster = read_raster(self._folder / "surfaces" / f"{name}.tif")
        if raster is None:
            return None
        classes = classes_of_surface(name, raster.values, unit=unit, limits=limits)
        layer, path = class_layer(raster, [one.upper for one in classes],
                                  [one.colour for one in classes], name)
        self._in_memory.append(path)
        entries = [colour_entry(one) for one in classes]
        layers, more = self._over(name, points)
        return self._block(name, [*layers, self._kept(layer)], entries + more, caption)

    def _over(self, name, points):
        """Return the layers over a surface, topmost first, and their legend entries."""
        layers, entries = [self._outline, self._outside], []
        hatch, entry = self._unsure([name])
        layers, entries = layers + hatch, entries + entry
        marks = self._marks(points)
        if marks is not None:
            present = marks.uniqueValues(marks.fields().indexOf(_MARK))
            entries = [LegendEntry(mark_symbol(mark), text) for mark, text in (
                ("stop", tr("stop, plants counted")),
                ("met", tr("stop, hard layer met")),
                ("none", tr("stop, no hard layer met")),
                ("refused", tr("stop, refused: depth unknown"))) if mark in present] + entries
            layers.insert(0, marks)
        return layers, entries

    def _unsure(self, names):
        """Return the hatch where one of these surfaces knows little, and its legend entry."""
        found = [read_vector(self._folder / "zones.gpkg", f"{name}_unsure") for name in names]
        shapes = [feature.geometry() for layer in found if layer is not None
                  for feature in layer.getFeatures()]
        if not shapes:
            return [], []
        hatch = boundary_layer(QgsGeometry.unaryUnion(shapes).asWkb(), self._crs)
        paint(hatch, unsure_symbol())
        return [self._kept(hatch)], [LegendEntry(unsure_symbol(), tr("here the map knows little"))]

    def _marks(self, points):
        if points is None:
            return None
        layer = read_vector(self._folder / "observations.gpkg", points,
                            derived=(_MARK, _stop_mark if points == "stand" else _pan_mark))
        if layer is None:
            return None
        paint_marks(layer, _MARK)
        return self._kept(layer)

    def plan(self, name, plan, *, caption, decided_by=()):
        """Return the MapBlock of a plan's layer in zones.gpkg, or None where it is missing.

        Parameters
            name        such as "replant_plan", a layer of zones.gpkg
            plan        the plan's dict in the summary: the legend prints the rates of its zones
            decided_by  names of the surfaces the plan rests on: hatched where they know little
        """
        layer = read_vector(self._folder / "zones.gpkg", name, derived=(_WORK, _work_of))
        if layer is None:
            return None
        rates = {str(zone.get("zone")): text_of(zone.get("rate")) for zone in plan["zones"]}
        works = {}
        for feature in layer.getFeatures():
            work = str(feature["action"]), float(feature["rate"] or 0.0)
            works.setdefault(work, rates.get(str(feature["zone"]), ""))
        ordered = sorted(works, key=lambda work: (work[1], work[0]))
        symbols = plan_symbols(ordered)
        paint_plan(layer, {_joined(*work): symbols[work].clone() for work in ordered}, _WORK)
        label_zones(layer, "zone")
        entries = [LegendEntry(symbols[work], capital(tr(work[0])) + (
            f": {works[work]}" if work[1] > 0 and works[work] else "")) for work in ordered]
        hatch, entry = self._unsure(decided_by)
        layers = [self._outline, self._outside, *hatch, self._kept(layer)]
        return self._block(name, layers, entries + entry, caption)

    def _block(self, identifier, layers, entries, caption):
        return MapBlock(identifier=identifier, layers=layers, extent=self._extent, crs=self._crs,
                        length=self._units.length, entries=entries, caption=caption)


def folder_holds_maps(folder):
    """Return whether a folder has a surface or a layer, besides the field, that can be drawn."""
    folder = Path(folder)
    surfaces = folder / "surfaces"
    return bool(surfaces.is_dir() and any(surfaces.glob("*.tif"))) or any(
        set(layer_names(folder / name)) - {FIELD_LAYER}
        for name in ("zones.gpkg", "observations.gpkg"))


def _stop_mark(_row):
    return "stop"


def _pan_mark(row):
    bottom = next((row[name] for name in ("bottom", "bottom_depth", "pan_bottom") if name in row),
                  None)
    return pan_mark(row.get("kind") or "", row.get("refusal") or "", bottom is not None)


def _work_of(row):
    return _joined(str(row.get("action") or ""), float(row.get("rate") or 0.0))


def _joined(action, rate):
    return f"{action} {rate:.6g}"
