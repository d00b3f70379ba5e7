"""The yield table of a replant decision: the usual one of the crop, another one, or the user's."""
from pathlib import Path

from qgis.core import QgsProcessingParameterEnum, QgsProcessingParameterFile

from ..core.decide.yield_response import (
    held_at_its_edges,
    load_table,
    own_table,
    tables,
    usual_table,
)
from ..core.problems import InputProblem
from ..core.units import convert
from .base import tr

TABLE, OWN_TABLE, OUTER_DATES = "TABLE", "OWN_TABLE", "OUTER_DATES"


def declare_yield_table(algorithm):
    """Add the two parameters that choose a yield table."""
    algorithm.described(QgsProcessingParameterEnum(
        TABLE, tr("Yield table"), [tr("The usual one for the field's crop"), *tables().values()],
        defaultValue=0),
        tr("For replanting: percent of full yield by stand and planting date; take one of your "
           "region."))
    algorithm.described(QgsProcessingParameterFile(
        OWN_TABLE, tr("Yield table of your own"), extension="csv", optional=True),
        tr("A file in the form of the tables that come along (plugin/core/decide/tables), taken "
           "instead of them: percent of full yield, with its source, year, region, crop and the "
           "unit of its stands."))
    algorithm.described(QgsProcessingParameterEnum(
        OUTER_DATES, tr("Dates outside the table"),
        [tr("are refused"), tr("count as its first or last date")], defaultValue=0),
        tr("What to do with a planting or replant date that the yield table does not reach, by "
           "day of the year."))


def chosen_yield_table(algorithm, parameters, context, record):
    """Return the YieldTable that the parameters choose, its stands in the record's unit.

    Raises   InputProblem: there is none for the crop, or the user's own cannot be read
    """
    table = _table(algorithm, parameters, context, record)
    held = algorithm.parameterAsEnum(parameters, OUTER_DATES, context) == 1
    return held_at_its_edges(table) if held else table


def _table(algorithm, parameters, context, record):
    unit = record.units.population
    own = algorithm.parameterAsFile(parameters, OWN_TABLE, context)
    if own:
        return own_table(_text_of(own), Path(own).name, unit)
    number = algorithm.parameterAsEnum(parameters, TABLE, context)
    if number:
        return load_table(list(tables())[number - 1], unit)
    width = record.field["row_width"]
    return load_table(usual_table(
        record.field["crop"],
        None if width is None else float(convert(width, record.units.depth, "m"))), unit)


def _text_of(path):
    try:
        return Path(path).read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as problem:
        raise InputProblem(f"{Path(path).name} cannot be read as a table: {problem}. Save it as "
                           "comma-separated text (UTF-8).") from problem
