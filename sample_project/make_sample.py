"""Makes the sample field: its record, its harvests, its truth and its project.

Run from the repository root, for example:
/usr/bin/python3 -m sample_project.make_sample record /tmp/sample_field.gpkg
"""
import argparse
import json
import sys
from pathlib import Path

import numpy as np

from plugin.core.problems import InputProblem
from plugin.core.units import convert

from . import boundary, truth
from .headless_qgis import headless_qgis
from .readings import field_row, readings
from .yields import SEASONS, yield_rows

TRUTH_STEP_M = 20.0
COLUMN_UNITS = {"x": "m", "y": "m", "population": "plants/ac", "population_sound": "plants/ac",
                "pan_top": "in", "pan_bottom": "in", "peak": "psi", "crust": "share, 0 to 1"}


def make_record(path):
    """Write the record with its readings, but no harvests; return the counts by layer.

    Raises   InputProblem: the path exists
    """
    from plugin.record.create import create_record
    from plugin.record.write import append_rows
    made = readings()
    with headless_qgis():  # it writes the forms into the record, and its end ends OGR too
        create_record(path, boundary.boundary_wkb(), boundary.CRS, units="us",
                      field=field_row())
        for layer, rows in made.items():
            append_rows(path, layer, rows)
    return {layer: len(rows) for layer, rows in made.items()}


def add_yields(path):
    """Append the harvests of both earlier seasons to a record; return the points by season."""
    from plugin.record.write import append_rows
    by_season = {season: yield_rows(season) for season in SEASONS}
    append_rows(path, "yield_points", [row for rows in by_season.values() for row in rows])
    return {season: len(rows) for season, rows in by_season.items()}


def truth_table(step_m=TRUTH_STEP_M):
    """Return the truth on a lattice inside the field, a dict ready for JSON; no pan is null."""
    across, along = np.meshgrid(np.arange(0, 640, step_m) + step_m / 2,
                                np.arange(-10, 640, step_m) + step_m / 2)
    local = np.column_stack([across.ravel(), along.ravel()])
    positions = boundary.to_map(local[boundary.inside(local)])
    columns = {"x": positions[:, 0], "y": positions[:, 1], **truth.truth_at(positions)}
    return {"crs": boundary.CRS, "units": COLUMN_UNITS,
            "area_ac": round(float(convert(boundary.area_m2(), "m2", "ac")), 2),
            "columns": {name: _plain(values) for name, values in columns.items()}}


def _plain(values):
    if values.dtype == bool:
        return values.tolist()
    return [round(value, 3) if np.isfinite(value) else None for value in values.tolist()]


def _record(arguments):
    for layer, count in make_record(arguments.path).items():
        print(f"{layer}: {count}")


def _yields(arguments):
    for season, count in add_yields(arguments.record).items():
        print(f"yield_points {season}: {count}")


def _truth(arguments):
    Path(arguments.path).write_text(json.dumps(truth_table()), encoding="utf-8")


def _project(arguments):
    from .project import make_project
    make_project(arguments.record, arguments.project)


def _parser():
    parser = argparse.ArgumentParser(prog="sample_project.make_sample",
                                     description="Makes the invented sample field.")
    commands = parser.add_subparsers(dest="command", required=True)
    for name, run, help_text, paths in (
            ("record", _record, "write the record with its readings, without harvests",
             [("path", "the new .gpkg; must not exist yet")]),
            ("yields", _yields, "append the harvests of 2024 and 2025 to a record",
             [("record", "the record made before, changed in place")]),
            ("truth", _truth, "write what is true of the field, every 20 m",
             [("path", "the new .json")]),
            ("project", _project, "write a QGIS project that shows a record",
             [("record", "the record made before"), ("project", "the new .qgz beside it")])):
        command = commands.add_parser(name, help=help_text, description=help_text)
        command.set_defaults(run=run)
        for argument, argument_help in paths:
            command.add_argument(argument, help=argument_help)
    return parser


def main(words=None):
    """Run one command; return 0, or 1 when its input cannot be used."""
    arguments = _parser().parse_args(words)
    try:
        arguments.run(arguments)
    except InputProblem as problem:
        print(problem, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
