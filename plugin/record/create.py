"""Making a new, empty field record: one GeoPackage that any QGIS opens and fills."""
import os
import sqlite3
from contextlib import closing
from math import inf
from pathlib import Path
from tempfile import TemporaryDirectory

from osgeo import gdal, ogr

from ..core.problems import InputProblem
from ..core.units import UNIT_SYSTEMS
from ..layers.strict_ogr import in_metres, spatial_reference, strict_ogr
from .forms import store_forms_and_project
from .ogr_features import set_values
from .schema import LAYERS, description_with_unit, layer_spec, title_of_value, title_with_unit
from .values import checked_row

OGR_TYPES = {"text": ogr.OFTString, "int": ogr.OFTInteger, "real": ogr.OFTReal,
             "bool": ogr.OFTInteger, "date": ogr.OFTDate, "datetime": ogr.OFTDateTime}
OGR_GEOMETRIES = {"polygon": ogr.wkbMultiPolygon, "point": ogr.wkbPoint, "none": ogr.wkbNone}

# The GeoPackage schema extension, OGC 12-128r17, annex F.9.
SCHEMA_EXTENSION = """
CREATE TABLE IF NOT EXISTS gpkg_data_columns (
    table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT,
    description TEXT, mime_type TEXT, constraint_name TEXT,
    CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name),
    CONSTRAINT gdc_tn UNIQUE (table_name, name));
CREATE TABLE IF NOT EXISTS gpkg_data_column_constraints (
    constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, value TEXT,
    min NUMERIC, min_is_inclusive BOOLEAN, max NUMERIC, max_is_inclusive BOOLEAN,
    description TEXT, CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value));
INSERT INTO gpkg_extensions VALUES
    ('gpkg_data_columns', NULL, 'gpkg_schema',
     'http://www.geopackage.org/spec121/#extension_schema', 'read-write'),
    ('gpkg_data_column_constraints', NULL, 'gpkg_schema',
     'http://www.geopackage.org/spec121/#extension_schema', 'read-write');
"""


def create_record(path, boundary_wkb, crs, *, units, field):
    """Make a record of one field and nothing else in it; the file appears whole or not at all.

    It is built in a folder of its own beside `path` and moved into place at the end. Holes and
    several parts of the boundary are kept; heights are dropped, curves are drawn as lines.
    Needs a started QGIS, which writes the forms and the project into the file.

    Parameters
        path          where the record is to be, ending in .gpkg; nothing may be there yet
        boundary_wkb  the field as polygon or multipolygon, in metres
        crs           its reference system, an authority id or WKT; projected, in metres
        units         "us" or "metric"
        field         dict of `field` column to value, as `write.append_rows` takes it
    Raises   InputProblem: something is at `path`, the folder is missing, or the units, the CRS,
             the boundary or a value cannot be used
    """
    path = Path(path)
    if units not in UNIT_SYSTEMS:
        raise InputProblem(f"field, units: {units!r} is not one of {', '.join(UNIT_SYSTEMS)}.")
    if path.suffix.lower() != ".gpkg":
        raise InputProblem(f"{path.name} does not end in .gpkg; give the record such a name.")
    _refuse_existing(path)
    if not path.parent.is_dir():
        raise InputProblem(f"There is no folder {path.parent} to put the record in. Make it, or "
                           "choose another.")
    row = checked_row(layer_spec("field"), {**field, "units": units}, 1)
    with strict_ogr():
        reference = _usable_reference(crs)
        boundary = _usable_boundary(boundary_wkb)
    with TemporaryDirectory(prefix=".record-", dir=path.parent) as folder:
        unfinished = Path(folder) / path.name
        with strict_ogr():
            _make_layers(unfinished, reference, boundary, row)
        _describe_columns(unfinished, UNIT_SYSTEMS[units], row["currency"])
        store_forms_and_project(unfinished, UNIT_SYSTEMS[units], row["currency"], row["name"])
        _settle(unfinished)
        _refuse_existing(path)
        os.rename(unfinished, path)


def _refuse_existing(path):
    if path.exists():
        raise InputProblem(f"{path.name} is already there, and a record is never overwritten. "
                           "Choose another name.")


def _usable_reference(crs):
    try:
        reference = spatial_reference(crs)
    except RuntimeError as problem:
        raise InputProblem(f"The boundary's CRS is not known: {crs[:60]!r}. Set the CRS of the "
                           "boundary layer first.") from problem
    if not in_metres(reference):
        raise InputProblem(f"{reference.GetName()} does not count in metres. Give the boundary in "
                           "the field's UTM zone.")
    return reference


def _usable_boundary(boundary_wkb):
    try:
        boundary = ogr.CreateGeometryFromWkb(bytes(boundary_wkb))
    except RuntimeError as problem:
        raise InputProblem("The boundary cannot be read as a polygon.") from problem
    boundary.FlattenTo2D()
    boundary = boundary.GetLinearGeometry()
    if boundary.IsEmpty():
        raise InputProblem("The boundary is empty. Draw the outline of the field.")
    if boundary.GetGeometryType() not in (ogr.wkbPolygon, ogr.wkbMultiPolygon):
        raise InputProblem(f"The boundary is a {boundary.GetGeometryName().lower()}, and a field "
                           "is a polygon. Close the outline, for example with Lines to polygons.")
    gdal.ErrorReset()
    if not boundary.IsValid():
        reason = gdal.GetLastErrorMsg() or "its rings do not enclose one plain area"
        raise InputProblem(f"The boundary crosses or touches itself: {reason}. Mend it with the "
                           "vertex tool or with Fix geometries, then try again.")
    if not boundary.Area() > 0:
        raise InputProblem("The boundary encloses no area. Draw the outline of the field.")
    return ogr.ForceToMultiPolygon(boundary)


def _make_layers(path, reference, boundary, row):
    dataset = gdal.GetDriverByName("GPKG").Create(str(path), 0, 0, 0, gdal.GDT_Unknown)
    for spec in LAYERS:
        layer = dataset.CreateLayer(
            spec.name, reference if spec.geometry != "none" else None,
            OGR_GEOMETRIES[spec.geometry],
            ["GEOMETRY_NAME=geom", "FID=fid", f"IDENTIFIER={spec.name}",
             f"DESCRIPTION={spec.title}"])
        for column in spec.columns:
            layer.CreateField(_field_definition(column))
    layer = dataset.GetLayerByName("field")
    feature = ogr.Feature(layer.GetLayerDefn())
    set_values(feature, layer_spec("field"), row)
    feature.SetGeometry(boundary)
    layer.CreateFeature(feature)
    feature = layer = None
    dataset.FlushCache()


def _field_definition(column):
    definition = ogr.FieldDefn(column.name, OGR_TYPES[column.kind])
    if column.kind == "bool":
        definition.SetSubType(ogr.OFSTBoolean)
    definition.SetNullable(not column.required)
    if column.name == "reading_id":
        definition.SetUnique(True)
    elif isinstance(column.default, str):
        definition.SetDefault(f"'{column.default}'")
    elif column.default is not None:
        definition.SetDefault(f"{column.default}")
    return definition


def _describe_columns(path, unit_system, currency):
    columns, constraints = [], {}
    for layer in LAYERS:
        for column in layer.columns:
            name = None
            if column.values:
                name = f"{layer.name}_{column.name}"
                for value in column.values:
                    constraints[name, value] = (name, "enum", value, None, None, None, None,
                                                title_of_value(value))
            elif column.low is not None or column.high is not None:
                name = f"{layer.name}_{column.name}"
                constraints[name, None] = (
                    name, "range", None, -inf if column.low is None else column.low, 1,
                    inf if column.high is None else column.high, 1, column.title)
            title = title_with_unit(column, unit_system, currency)
            columns.append((layer.name, column.name, title, title,
                            description_with_unit(column, unit_system, currency), name))
    with closing(sqlite3.connect(path)) as database:
        database.executescript(SCHEMA_EXTENSION)
        database.executemany(
            "INSERT INTO gpkg_data_columns (table_name, column_name, name, title, description, "
            "constraint_name) VALUES (?, ?, ?, ?, ?, ?)", columns)
        database.executemany(
            "INSERT INTO gpkg_data_column_constraints VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            constraints.values())
        database.commit()


def _settle(path):
    """Leave one plain file: no write-ahead log, nothing beside it, and nothing wrong inside."""
    with closing(sqlite3.connect(path)) as database:
        # QGIS notes the login of whoever made the project there.
        database.execute("UPDATE qgis_projects SET metadata = "
                         "json_remove(metadata, '$.last_modified_user')")
        database.commit()
        database.execute("PRAGMA journal_mode = delete").fetchall()
        found = database.execute("PRAGMA integrity_check").fetchall()
        found += database.execute("PRAGMA foreign_key_check").fetchall()
    if found != [("ok",)]:
        raise OSError(f"The record was not written soundly: {found[:3]}.")
    beside = [entry.name for entry in path.parent.iterdir() if entry != path]
    if beside:
        raise OSError(f"The record was not closed; these were left beside it: {beside}.")
