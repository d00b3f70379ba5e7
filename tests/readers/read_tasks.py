"""Read zipped task files with the PyPI library isoxml; print what it found as JSON."""
import dataclasses
import decimal
import json
import re
import sys
import tempfile
import warnings
import zipfile
from pathlib import Path

from isoxml.converter.np_grid import to_numpy_array
from isoxml.converter.shapely_geom import ShapelyConverterV3, ShapelyConverterV4
from isoxml.util.isoxml_io import isoxml_from_path


def main(paths):
    json.dump({path: read(path) for path in paths}, sys.stdout, default=plain)


def read(path):
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        with zipfile.ZipFile(path) as packed:
            packed.extractall(folder)
        data, binaries = isoxml_from_path(Path(folder) / "TASKDATA")
    (task,), (field,) = data.tasks, data.partfields
    v3 = type(data).__module__.endswith("v3")
    turn = (ShapelyConverterV3 if v3 else ShapelyConverterV4)()
    shapes = {zone.code: [turn.to_shapely_polygon(one) for one in zone.polygons]
              for zone in task.treatment_zones}
    grid = task.grids[0] if task.grids else None
    return {
        "warnings": [str(one.message) for one in caught], "field": field.designator,
        "area": field.area, "status": task.status.value,
        "codes": [task.default_treatment_zone_code, task.position_lost_treatment_zone_code,
                  task.out_of_field_treatment_zone_code],
        "zones": [{"code": zone.code, "name": zone.designator,
                   "ddi": zone.process_data_variables[0].process_data_ddi.hex().upper(),
                   "value": zone.process_data_variables[0].process_data_value,
                   "valid": [shape.is_valid for shape in shapes[zone.code]],
                   "wkt": [shape.wkt for shape in shapes[zone.code]]}
                  for zone in task.treatment_zones],
        "cells": None if grid is None else to_numpy_array(
            binaries[grid.filename], grid, scale=False).tolist(),
        "broken": list(broken(data, "data"))}


def broken(one, where):
    """Yield every field that breaks what the library's own field metadata ask for."""
    for field in dataclasses.fields(one):
        value, asked = getattr(one, field.name), field.metadata
        place = f"{where}.{field.name}"
        if value is None:
            if asked.get("required"):
                yield f"{place} is missing"
            continue
        for number, each in enumerate(value if isinstance(value, list) else [value]):
            if dataclasses.is_dataclass(each):
                yield from broken(each, f"{place}[{number}]")
                continue
            text = str(each)
            if isinstance(each, str) and len(each) > asked.get("max_length", len(each)):
                yield f"{place} is too long"
            if asked.get("pattern") and not re.fullmatch(asked["pattern"], text):
                yield f"{place} is {text}, not {asked['pattern']}"
            if isinstance(each, (int, float, decimal.Decimal)) and not isinstance(each, bool):
                if "min_inclusive" in asked and each < type(each)(asked["min_inclusive"]):
                    yield f"{place} is {each}, too small"
                if "max_inclusive" in asked and each > type(each)(asked["max_inclusive"]):
                    yield f"{place} is {each}, too large"


def plain(value):
    return value.value if hasattr(value, "value") else str(value)


if __name__ == "__main__":
    main(sys.argv[1:])
