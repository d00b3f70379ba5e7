"""ratefile: a plan as files that a controller reads, checked, with a work order."""
from contextlib import ExitStack
from pathlib import Path

from qgis.core import (
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingOutputString,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterField,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterNumber,
    QgsProcessingParameterString,
)

from ..core.deliver.further_totals import further_totals
from ..core.deliver.iso_task import VERSIONS, Names
from ..core.deliver.rate_formats import FORMATS, file_names
from ..core.deliver.rate_table import (
    MANY_ZONES,
    Product,
    RateLimits,
    controller_rows,
    rate_rows,
)
from ..core.deliver.set_points import SHOWN_DECIMALS
from ..core.deliver.work_order import NUTRIENTS, rate_text, work_order
from ..core.problems import InputProblem, Stopped
from ..layers.beside import beside
from ..layers.nulls import plain
from ..layers.polygons import features_of
from ..layers.rate_files import check_rates, write_rates
from ..layers.rate_zones import rate_zones
from ..layers.task_files import TaskSettings, check_task, write_task
from ..report.look import PAPERS
from ..report.main_thread import on_main_thread
from ..report.work_order_pdf import write_work_order
from .base import SpadeworkAlgorithm, ticker, tr
from .made import made

AS_PLANNED = "as in the plan"
UNITS = (AS_PLANNED, *SHOWN_DECIMALS)
_DOUBLE = QgsProcessingParameterNumber.Type.Double


class RateFile(SpadeworkAlgorithm):
    """Rate files in open formats."""
    ID, NAME, GROUP = "ratefile", "Rate file", "handover"
    HELP = ("Writes a plan, or any polygons with a rate, for a controller: GeoPackage, shapefile "
            "(.shp with .shx, .dbf, .prj and .cpg), GeoJSON (RFC 7946), or an ISO 11783-10 task "
            "file (TASKDATA in a zip) with zones, with a grid of rates (type 2) or with a grid of "
            "zone codes (type 1). Places are in WGS 84. Every file is read back and compared with "
            "the plan before it is handed over: a difference is an error, and no file stays. Zones "
            "where nothing is done carry rate 0. The work order says on one page what was written "
            "and where it goes. Check the file on the controller before you drive; have buried "
            "utilities located before deep tillage.")
    PLAN, FORMAT, FILE, RATE_FIELD, RATE_UNIT = "PLAN", "FORMAT", "FILE", "RATE_FIELD", "RATE_UNIT"
    CONTROLLER_UNIT, LEAST, GREATEST = "CONTROLLER_UNIT", "LEAST", "GREATEST"
    CONTENT, DENSITY, VERSION = "CONTENT", "DENSITY", "VERSION"
    OUTSIDE_RATE, LOST_RATE = "OUTSIDE_RATE", "LOST_RATE"
    CELL, MOST_CELLS = "CELL", "MOST_CELLS"
    FIELD_NAME, FARM, CUSTOMER = "FIELD_NAME", "FARM", "CUSTOMER"
    WORK_ORDER, PAGE = "WORK_ORDER", "PAGE"

    def initAlgorithm(self, configuration=None):
        """Declare plan, formats, file, the controller's unit and limits, and the work order."""
        self.described(QgsProcessingParameterFeatureSource(
            self.PLAN, tr("Plan"), [QgsProcessing.SourceType.TypeVectorPolygon]),
            tr("A plan: polygons with zone, action, rate and rate_unit; or other polygons with a "
               "rate. They must not overlap."))
        self.described(QgsProcessingParameterEnum(
            self.FORMAT, tr("Format"), [one.name for one in FORMATS], allowMultiple=True,
            defaultValue=[0]),
            tr("Open formats, one or several. Older controllers read shapefiles or task files of "
               "version 3.3."))
        self.described(QgsProcessingParameterFileDestination(
            self.FILE, tr("Rate file"), "GeoPackage (*.gpkg);;Shapefile (*.shp);;"
            "GeoJSON (*.geojson);;ISO 11783-10 (*.zip)"),
            tr("Its name must end as the format asks: .gpkg, .shp, .geojson or .zip. Of several "
               "formats it names one, and the others lie beside it: _grid.zip and _codes.zip are "
               "the endings of grids."))
        self.described(QgsProcessingParameterField(
            self.RATE_FIELD, tr("Column of the rate"), parentLayerParameterName=self.PLAN,
            type=QgsProcessingParameterField.DataType.Numeric, optional=True),
            tr("Column that holds the rates; rate, where none is named."))
        self.described(QgsProcessingParameterString(
            self.RATE_UNIT, tr("Unit of that column"), optional=True),
            tr("Unit of the rates, such as seeds/ac, in or kg/ha; what the column rate_unit says, "
               "where none is named."))
        self.described(QgsProcessingParameterEnum(
            self.CONTROLLER_UNIT, tr("Unit of the controller"), list(UNITS), defaultValue=0),
            tr("Unit in which rates are written and shown. ISO 11783-10 has steps of its own: "
               "0.001 seeds per m2, 1 mm, 1 mg per m2, 0.01 mm3 per m2."))
        self.described(QgsProcessingParameterNumber(
            self.CONTENT, tr("Nutrient in the product"), _DOUBLE, 100.0, minValue=0.1,
            maxValue=100.0),
            tr("Percent, as the product's label says, where the plan counts a nutrient: rates are "
               "written of the product, which most controllers count. 46 for urea; 100 where the "
               "plan counts the product."))
        self.described(QgsProcessingParameterNumber(
            self.DENSITY, tr("Density of a liquid"), _DOUBLE, optional=True, minValue=0.1,
            maxValue=5.0),
            tr("Kilograms per litre, as the product's label says (1 lb/gal is 0.1198), where "
               "masses are planned and the controller counts gal/ac or L/ha."))
        for name, title, words in (
                (self.LEAST, tr("Least rate of the controller"),
                 tr("In the controller's unit, such as seeds/ac; a lower rate is refused. 0 "
                    "switches off and is always taken.")),
                (self.GREATEST, tr("Greatest rate of the controller"),
                 tr("In the controller's unit, such as seeds/ac; a higher rate is refused."))):
            self.described(QgsProcessingParameterNumber(name, title, _DOUBLE, optional=True,
                                                        minValue=0.0), words)
        self.described(QgsProcessingParameterEnum(
            self.VERSION, tr("Version of the task file"), list(VERSIONS), defaultValue=0),
            tr("ISO 11783-10 alone. 3.3 for older controllers (from memory: many read 3.x only)."))
        for name, title, words in (
                (self.OUTSIDE_RATE, tr("Rate outside the field"),
                 tr("ISO 11783-10 alone; in the controller's unit, such as seeds/ac or in.")),
                (self.LOST_RATE, tr("Rate where the position is lost"),
                 tr("ISO 11783-10 alone; in the controller's unit, such as seeds/ac or in. It also "
                    "holds where no zone lies."))):
            self.described(QgsProcessingParameterNumber(name, title, _DOUBLE, 0.0, minValue=0.0),
                           words)
        self.described(QgsProcessingParameterNumber(
            self.CELL, tr("Cell"), _DOUBLE, 5.0, minValue=0.5, maxValue=1000.0),
            tr("Side of a cell of the grid, metres; not finer than the machine is wide."))
        self.described(QgsProcessingParameterNumber(
            self.MOST_CELLS, tr("Most cells"), QgsProcessingParameterNumber.Type.Integer, 200_000,
            minValue=1, maxValue=10_000_000),
            tr("A grid of more cells is refused; the controller's manual, at best, says how many "
               "it takes. 160 ac at 5 m are some 26,000."), advanced=True)
        for name, title, words in (
                (self.FIELD_NAME, tr("Name of the field"), tr("The layer's name, if empty.")),
                (self.FARM, tr("Name of the farm"), tr("That of the field, if empty.")),
                (self.CUSTOMER, tr("Name of the customer"), tr("That of the farm, if empty."))):
            self.described(QgsProcessingParameterString(name, title, optional=True),
                           tr("{default} Task files hold 32 characters.").format(default=words))
        self.described(QgsProcessingParameterFileDestination(
            self.WORK_ORDER, tr("Work order"), tr("PDF (*.pdf)"), optional=True,
            createByDefault=False),
            tr("One page: totals, zones, map, what was written, which file goes where."))
        self.described(QgsProcessingParameterEnum(self.PAGE, tr("Paper"), list(PAPERS),
                                                  defaultValue=0), tr("Paper of the work order."))
        self.addOutput(QgsProcessingOutputNumber("POLYGONS", tr("Polygons or cells written")))
        self.addOutput(QgsProcessingOutputString("FILES", tr("Files written, one a line")))

    def checkParameterValues(self, parameters, context):
        """Refuse a file whose name does not end as its format asks, and a plan without a CRS."""
        formats = self._formats(parameters, context)
        path = self.parameterAsFileOutput(parameters, self.FILE, context)
        if not formats:
            return False, tr("No format was chosen.")
        if path and file_names(Path(path).name, formats) is None:
            return False, tr("{path} does not end in {extension}, as a {format} does.").format(
                path=path, extension=tr(" or ").join(one.ending if len(formats) > 1 else
                                                     one.extension for one in formats),
                format=tr(" or ").join(one.name for one in formats))
        source = self.parameterAsSource(parameters, self.PLAN, context)
        if source is not None and not source.sourceCrs().isValid():
            return False, tr("{layer} has no CRS, so where its zones lie is not known. Set the CRS "
                             "of the layer first.").format(layer=source.sourceName())
        return super().checkParameterValues(parameters, context)

    def processAlgorithm(self, parameters, context, feedback):
        """Read the plan, check every rate, write, read back and compare, say what was written."""
        source = self.parameterAsSource(parameters, self.PLAN, context)
        if source is None:
            raise QgsProcessingException(self.invalidSourceError(parameters, self.PLAN))
        tick = ticker(feedback)
        try:
            zones, further, nutrient = self._zones(source, parameters, context)
            tick(0.2)
            settings = self._settings(source, zones, parameters, context)
            paths, found = self._hand_over(zones, settings, (further, nutrient), parameters,
                                           context, tick)
        except Stopped:
            return {}
        except InputProblem as problem:
            raise QgsProcessingException(str(problem)) from problem
        self._tell(found, zones, feedback)
        return {self.FILE: self.parameterAsFileOutput(parameters, self.FILE, context),
                self.WORK_ORDER: self.parameterAsFileOutput(parameters, self.WORK_ORDER, context),
                "POLYGONS": sum(one.polygons for one in found), "FILES": "\n".join(paths)}

    def _formats(self, parameters, context):
        return [FORMATS[number] for number in sorted(set(
            self.parameterAsEnums(parameters, self.FORMAT, context)))]

    def _zones(self, source, parameters, context):
        """Return the RateZones of the plan in the controller's unit, its further totals, and the
        nutrient that its rates count; "" where they are of a product."""
        features = list(features_of(source))
        columns = source.fields().names()
        rows = [dict(zip(columns, map(plain, feature.attributes()))) for feature in features]
        names = self.parameterAsFields(parameters, self.RATE_FIELD, context)
        column = names[0] if names else "rate"
        unit = UNITS[self.parameterAsEnum(parameters, self.CONTROLLER_UNIT, context)]
        rates = controller_rows(
            source.sourceName(),
            rate_rows(source.sourceName(), rows, rate_column=column,
                      unit=self.parameterAsString(parameters, self.RATE_UNIT, context).strip()),
            unit="" if unit == AS_PLANNED else unit, rate_column=column,
            product=self._product(parameters, context),
            limits=self._limits(parameters, context))
        nutrient = rows[0].get("rate_of") if rows[0].get("rate_of") in NUTRIENTS else ""
        further = [(tr(name), text) for name, text in further_totals(rows)]
        content = self.parameterAsDouble(parameters, self.CONTENT, context)
        if content < 100:
            further.append((tr("{nutrient} in the product").format(
                nutrient=(nutrient or tr("nutrient")).capitalize()), f"{content:g} %"))
        return rate_zones(source.sourceCrs().toWkt(),
                          [bytes(feature.geometry().asWkb()) for feature in features],
                          rates), further, nutrient if content == 100 else ""

    def _limits(self, parameters, context):
        return RateLimits(*(self._number(parameters, name, context)
                            for name in (self.LEAST, self.GREATEST)))

    def _product(self, parameters, context):
        return Product(self.parameterAsDouble(parameters, self.CONTENT, context) / 100,
                       self._number(parameters, self.DENSITY, context))

    def _number(self, parameters, name, context):
        """Return an optional number, None where it is not given."""
        if parameters.get(name) in (None, ""):
            return None
        return self.parameterAsDouble(parameters, name, context)

    def _settings(self, source, zones, parameters, context):
        def text(name, otherwise):
            return self.parameterAsString(parameters, name, context).strip() or otherwise

        field = text(self.FIELD_NAME, source.sourceName())
        farm = text(self.FARM, field)
        about = made(self.ID, {})
        rates = {name: self.parameterAsDouble(parameters, name, context)
                 for name in (self.OUTSIDE_RATE, self.LOST_RATE)}
        for name, rate in rates.items():
            refusal = self._limits(parameters, context).refusal(rate, zones.rows[0].unit)
            if refusal:
                raise InputProblem(f"{name}: {refusal}. Change one of them.")
        return TaskSettings(
            version=VERSIONS[self.parameterAsEnum(parameters, self.VERSION, context)],
            names=Names(text(self.CUSTOMER, farm), farm, field, source.sourceName(),
                        about["program"], about["version"]),
            outside=rates[self.OUTSIDE_RATE], lost=rates[self.LOST_RATE],
            cell_m=self.parameterAsDouble(parameters, self.CELL, context),
            most_cells=self.parameterAsInt(parameters, self.MOST_CELLS, context))

    def _hand_over(self, zones, settings, told, parameters, context, tick):
        """Write all files beside their places, check each, and move them there at the end."""
        formats = self._formats(parameters, context)
        path = Path(self.parameterAsFileOutput(parameters, self.FILE, context))
        pdf = self.parameterAsFileOutput(parameters, self.WORK_ORDER, context)
        paths = [path.with_name(name) for name in file_names(path.name, formats)]
        found = []
        about = made(self.ID, {"FORMAT": [one.name for one in formats],
                               "CONTROLLER_UNIT": zones.rows[0].unit})
        with ExitStack() as until:
            for number, (one, target) in enumerate(zip(formats, paths)):
                unfinished = until.enter_context(beside(target))
                found.append(_written(
                    unfinished, one, zones, settings, about,
                    lambda part, number=number: tick(0.2 + 0.6 * (number + part) / len(formats))))
            if pdf:
                order = self._order(zones, settings, formats, paths, found, told)
                unfinished = until.enter_context(beside(pdf))
                paper = list(PAPERS.values())[self.parameterAsEnum(parameters, self.PAGE, context)]
                on_main_thread(lambda: write_work_order(unfinished, order, zones, paper=paper,
                                                        made=about, tick=lambda part: tick(
                                                            0.8 + 0.2 * part)))
            tick(1.0)
        return list(map(str, paths)) + ([pdf] if pdf else []), found

    def _order(self, zones, settings, formats, paths, found, told):
        further, nutrient = told
        task = any(one.kind != "vector" for one in formats)
        return work_order(
            settings.names.field, zones.rows, zones.meant(),
            [(one, path.name, back) for one, path, back in zip(formats, paths, found)],
            outside=settings.outside if task else None, lost=settings.lost if task else None,
            further=further, nutrient=nutrient)

    def _tell(self, found, zones, feedback):
        unit = zones.rows[0].unit
        for one in found:
            feedback.pushInfo(tr(
                "{format}: {count} read back and equal to the plan; rates in steps of {step}, the "
                "furthest off by {off}.").format(
                    format=one.format, count=one.polygons, step=rate_text(one.step, unit, 2),
                    off=rate_text(one.furthest, unit, 2)))
        most = max((one.polygons for one in found if "grid" not in one.format), default=0)
        if most > MANY_ZONES:
            feedback.pushWarning(tr("{count} polygons: older controllers may give up beyond about "
                                    "{many} (a figure from memory). Choose a larger smallest "
                                    "zone.").format(count=most, many=MANY_ZONES))


def _written(path, one, zones, settings, about, tick):
    """Write one file and return its ReadBack."""
    tick(0.0)
    if one.kind == "vector":
        write_rates(path, one, zones, made=about)
        return check_rates(path, one, zones)
    write_task(path, one.kind, zones, settings, tick=lambda part: tick(0.5 * part))
    return check_task(path, one, zones, settings, tick=lambda part: tick(0.5 + 0.5 * part))
