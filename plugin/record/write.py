"""Adding rows to a record: all of them or none."""
from pathlib import Path

from osgeo import gdal, ogr

from ..core.problems import InputProblem
from ..layers.strict_ogr import strict_ogr
from .ogr_features import set_values
from .schema import layer_spec
from .values import checked_place, checked_row


def append_rows(path, layer, rows):
    """Add rows to a layer of the record in one transaction; a row that is wrong stops them all.

    A column that a row does not name gets its default; reading_id is made where there is none.
    The `field` layer has its one row from the start and takes no other.

    Parameters
        path   the record
        layer  name of the layer
        rows   dicts of column name to value; of a point layer also "x" and "y", metres in the
               record's CRS
    Returns  list of the reading_ids, in the order of `rows`
    Raises   InputProblem: naming layer, row (from 1) and column; or the record cannot be written
    """
    spec = layer_spec(layer)
    if spec.name == "field":
        raise InputProblem("field: a record holds one field, which is there already. Change its "
                           "row in the record instead.")
    checked = [checked_row(spec, row, number) for number, row in enumerate(rows, 1)]
    places = [checked_place(spec, row, number) for number, row in enumerate(rows, 1)] \
        if spec.geometry == "point" else [None] * len(checked)
    _refuse_twins(spec, checked)
    if not Path(path).is_file():
        raise InputProblem(f"There is no record at {path}.")
    with strict_ogr():
        try:
            dataset = gdal.OpenEx(str(path), gdal.OF_VECTOR | gdal.OF_UPDATE, ["GPKG"])
            target = dataset.GetLayerByName(spec.name)
        except RuntimeError as problem:
            raise InputProblem(f"{Path(path).name} cannot be written to: {problem}.") from problem
        if target is None:
            raise InputProblem(f"{Path(path).name} is no record: it has no layer {spec.name}.")
        if spec.parent:
            _refuse_orphans(dataset, spec, checked)
        dataset.StartTransaction()
        try:
            for number, (row, place) in enumerate(zip(checked, places), 1):
                _add(target, spec, row, place, number)
            dataset.CommitTransaction()
        except BaseException:  # Ctrl+C too; handed on
            dataset.RollbackTransaction()
            raise
        finally:
            target = dataset = None
    return [row["reading_id"] for row in checked]


def _add(target, spec, row, place, number):
    feature = ogr.Feature(target.GetLayerDefn())
    set_values(feature, spec, row)
    if place is not None:
        point = ogr.Geometry(ogr.wkbPoint)
        point.AddPoint_2D(*place)
        feature.SetGeometry(point)
    try:
        target.CreateFeature(feature)
    except RuntimeError as problem:
        raise InputProblem(f"{spec.name}, row {number}: the record did not take it ({problem}). "
                           "Nothing was added.") from problem


def _refuse_twins(spec, rows):
    seen = {}
    for number, row in enumerate(rows, 1):
        first = seen.setdefault(row["reading_id"], number)
        if first != number:
            raise InputProblem(f"{spec.name}, row {number}, reading_id: {row['reading_id']!r} is "
                               f"that of row {first} too. Give each row its own, or none.")


def _refuse_orphans(dataset, spec, rows):
    parent, column = spec.parent
    known = {feature.GetField("reading_id") for feature in dataset.GetLayerByName(parent)}
    for number, row in enumerate(rows, 1):
        if row[column] not in known:
            raise InputProblem(f"{spec.name}, row {number}, {column}: {parent} has no reading "
                               f"{row[column]!r}. Add that one first.")
