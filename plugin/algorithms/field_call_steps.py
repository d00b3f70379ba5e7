"""The steps of a field call, in order; each runs algorithms through Processing."""
from dataclasses import dataclass, field, replace
from pathlib import Path

from qgis import processing
from qgis.core import QgsProcessingContext, QgsProcessingException, QgsProcessingMultiStepFeedback

from ..core.decide.tillage_depth import LIKELY
from ..core.deliver.observed import looked_deep_enough, nothing_met
from ..core.deliver.rate_formats import FORMATS
from ..core.deliver.summary import mapped, summary_of
from ..core.interpolate.field_mean import area_at_least, mean_where
from ..core.problems import InputProblem, Stopped
from ..core.units import convert
from ..core.zone.stand_limits import limits_below_target
from ..layers.boundary import area_m2
from ..layers.field_surface import surface_of_field
from ..layers.json_files import read_json, write_json
from ..layers.vectors import REAL, TEXT, Column, VectorLayer, read_vector, write_vector
from ..record.plan_settings import sidedress_product, workable_shape
from ..record.probe_readings import LAYER as PROBES
from ..record.probe_readings import QUANTITIES, results_held
from ..record.read import Record, open_record
from ..record.schema import layer_spec, unit_of
from ..report.layers_of_folder import FIELD_LAYER
from ..report.main_thread import on_main_thread
from ..report.result_project import write_project
from .drift_parameters import COVARIATES, DRIFT, DRIFTS
from .made import made
from .rate_file import UNITS

SURFACES, RATES = "surfaces", "rates"
# Soil results that are mapped, by the name of their surface.
SOIL_SURFACES = {"nitrate_n_ppm": "nitrate", "ph": "ph", "buffer_ph": "buffer_ph"}
PLANS = ("replant", "tillage", "sidedress", "lime")
TRACEBACK = "Traceback (most recent call last)"
CHANCE = 2  # of the methods of `surface`


class Refused(Exception):  # noqa: N818 - an answer, not an error
    """An algorithm said, in the user's words, why it cannot do its work."""


@dataclass
class FieldCallWork:
    """What the steps of one field call share.

    mean     parameters of `surface` that say what the mean of every surface follows
    found    what later steps need, by name: accounts and paths
    layers   VectorLayers that go to zones.gpkg
    lacking  sentences: what could not be done and why
    ran      algorithms run in the present step
    """
    record: Record
    folder: Path
    context: QgsProcessingContext
    feedback: QgsProcessingMultiStepFeedback
    cell_m: float
    page: int
    units_checked: bool
    mean: dict
    found: dict = field(default_factory=dict)
    layers: list = field(default_factory=list)
    lacking: list = field(default_factory=list)
    ran: int = 0

    def path(self, *parts):
        """Return a path in the working folder, its folder made."""
        path = self.folder.joinpath(*parts)
        path.parent.mkdir(parents=True, exist_ok=True)
        return str(path)

    def scratch(self, name):
        """Return a path for a file that later steps read and the result does not keep."""
        return self.path("scratch", name)

    def run(self, algorithm, **parameters):
        """Run an algorithm of this provider and return its results.

        Raises   Refused: it cannot do its work with what it was given
                 QgsProcessingException: it has a defect, which Processing hands on as a traceback
                 Stopped: the user has cancelled
        """
        self.look()
        try:
            results = processing.run(f"spadework:{algorithm}", parameters, context=self.context,
                                     feedback=self._feedback(), is_child_algorithm=True)
        except QgsProcessingException as problem:
            if TRACEBACK in str(problem):
                raise
            raise Refused(str(problem)) from problem
        self.look()
        return results

    def _feedback(self):
        """Feedback for one more algorithm of the step, which gets half of what is left of it.

        How many there will be is not known; so progress never goes back.
        """
        parts = 2**min(self.ran + 1, 30)
        self.ran += 1
        feedback = QgsProcessingMultiStepFeedback(parts, self.feedback)
        feedback.setCurrentStep(parts - 2)
        return feedback

    def begin(self, step):
        """Begin a step, counted from 0."""
        self.feedback.setCurrentStep(step)
        self.ran = 0

    def look(self, _fraction=None):
        """Raise Stopped once the user has cancelled."""
        if self.feedback.isCanceled():
            raise Stopped

    def lacks(self, what, problem):
        """Note that something could not be done, and why."""
        self.lacking.append(f"{what}: {problem}")

    def surface(self, name, points, column, *, title, unit, error="", censor="", method=0):
        """Map a column of a point layer; return its diagnostics.

        The raster goes to surfaces/, the polygons where it says little to zones.gpkg.
        """
        unsure = self.scratch(f"{name}_unsure.gpkg")
        self.run("surface", INPUT=points, FIELD=column, ERROR_FIELD=error, CENSOR_FIELD=censor,
                 BOUNDARY=self.found["boundary"], CELL=self.cell_m, METHOD=method, TITLE=title,
                 UNIT=unit, **self.mean,
                 SURFACE=self.path(SURFACES, f"{name}.tif"), UNSURE=unsure,
                 DIAGNOSTICS=self.path(SURFACES, f"{name}.json"))
        self.keep_layer(unsure, f"{name}_unsure")
        return read_json(self.path(SURFACES, f"{name}.json"))

    def keep_layer(self, path, name):
        """Take the only layer of a file into zones.gpkg under a name."""
        layer, _ = read_vector(path, tick=self.look)
        if layer.geometries:
            self.layers.append(replace(layer, name=name))


def _boundary(work):
    record = work.record
    if not any(count for layer, count in record.counts.items() if layer != "field"):
        raise InputProblem(f"{Path(record.path).name} holds no readings yet. Enter the stops of "
                           "the field call first.")
    path = work.scratch("boundary.gpkg")
    write_vector(path, "GPKG", [VectorLayer("boundary", record.crs_wkt, (), [record.boundary_wkb],
                                            [[]])])
    work.found["boundary"] = path


def _checks(work):
    account = work.scratch("checks.json")
    try:
        work.run("checkrecord", RECORD=work.record.path, FLAGS=work.scratch("flags.gpkg"),
                 ACCOUNT=account)
    except Refused as problem:
        work.lacks("Checks of the readings", problem)
        return
    work.found["doubtful"] = read_json(account)["kinds"]


def _stand(work):
    record = work.record
    if not record.counts["stand_counts"]:
        work.lacks("Stand", "the record holds no stand counts.")
        return
    points, account = work.path("observations", "stand.gpkg"), work.scratch("stand.json")
    try:
        work.run("standatstops", RECORD=record.path, OBSERVATIONS=points, ACCOUNT=account)
        surface = work.surface("stand", points, "population", error="error", title="Stand",
                               unit=record.units.population)
    except Refused as problem:
        work.lacks("Stand", problem)
        return
    work.found["stand"] = {"account": read_json(account), "surface": surface, "zones": []}


def _stand_zones(work):
    record, stand = work.record, work.found.get("stand")
    if stand is None:
        return
    if record.field["target_stand"] is None:
        work.lacks("Stand zones", "no target stand is entered. Enter it in the form of the field.")
        return
    if not mapped(stand["surface"]):
        return
    zones, shape = work.scratch("stand_zones.gpkg"), workable_shape(record)
    limits = limits_below_target(record.field["target_stand"])
    work.run("zonesbylimits", SURFACE=work.path(SURFACES, "stand.tif"),
             LIMITS=";".join(f"{limit:.10g}" for limit in limits), BOUNDARY=work.found["boundary"],
             MACHINE_WIDTH=shape.machine_width_m, HEADING=shape.heading_deg,
             SMALLEST_AREA=float(convert(shape.smallest_area_m2, "m2", "ha")),
             SMALLEST_WIDTH=shape.smallest_width_m, ZONES=zones)
    work.keep_layer(zones, "stand_zones")
    stand["zones"] = [{**row, "area": float(convert(row["area_m2"], "m2", record.units.area))}
                      for row in read_vector(zones)[1]]


def _pan(work):
    record = work.record
    if not record.counts["compaction_readings"]:
        work.lacks("Pan", "the record holds no insertions.")
        return
    points, account = work.path("observations", "pan.gpkg"), work.scratch("pan.json")
    unit = record.units.depth
    try:
        work.run("panatinsertions", RECORD=record.path, UNITS_CHECKED=work.units_checked,
                 OBSERVATIONS=points, ACCOUNT=account)
    except Refused as problem:
        work.lacks("Pan", problem)
        return
    pan = {"account": read_json(account), "chance": None, "top": None, "bottom": None,
           "area_with_pan": None}
    work.found["pan"] = pan
    if not pan["account"]["stops_with_pan"]:
        pan["area_with_pan"] = 0.0 if looked_deep_enough(pan["account"]) else None
        work.lacks("Pan map", nothing_met(pan["account"]))
        return
    met = f"{points}|layername=pan|subset=\"bottom\" IS NOT NULL"
    told = f"{points}|layername=pan|subset=\"pan\" IS NOT NULL"
    try:
        pan["chance"] = work.surface("pan_chance", told, "pan", method=CHANCE,
                                     title="Chance of a pan within reach", unit="")
        pan["top"] = work.surface("pan_top", met, "top", error="error", censor="top_censor",
                                  title="Top of the pan, where there is one", unit=unit)
        pan["bottom"] = work.surface("pan_bottom", met, "bottom", error="error",
                                     censor="bottom_censor",
                                     title="Bottom of the pan, where there is one", unit=unit)
    except Refused as problem:
        work.lacks("Pan map", problem)
    if pan["chance"]:
        _pan_where_likely(work, pan)


def _pan_where_likely(work, pan):
    """Add to the pan's account its area and mean depths where it is likely; see LIKELY."""
    def surface(name):
        return surface_of_field(work.path(SURFACES, f"{name}.tif"), work.record.boundary_wkb,
                                tick=work.look)

    chance = surface("pan_chance")
    if mapped(pan["chance"]) or pan["chance"]["mean"] in (0.0, 1.0):  # all stops alike: known
        pan["area_with_pan"] = float(convert(area_at_least(chance, LIKELY), "m2",
                                             work.record.units.area))
    for depth in ("top", "bottom"):
        if pan[depth]:
            pan[depth]["mean"] = mean_where(surface(f"pan_{depth}"), chance, LIKELY)


def _yields(work):
    work.found["yields"] = []
    for season in work.record.seasons:
        points, account = (work.scratch(f"yield_{season}.{kind}") for kind in ("gpkg", "json"))
        try:
            work.run("cleanyield", RECORD=work.record.path, SEASON=season, CLEANED=points,
                     ACCOUNT=account)
            surface = work.surface(f"yield_{season}", points, "yield", title=f"Yield {season}",
                                   unit=work.record.units.grain_yield)
        except Refused as problem:
            work.lacks(f"Yield {season}", problem)
            continue
        work.found["yields"].append({"account": read_json(account), "surface": surface})


def _seen(work):
    account = work.scratch("seen.json")
    try:
        work.run("scouting", RECORD=work.record.path, ACCOUNT=account)
    except Refused:
        return  # nothing was noted: nothing lacks
    work.found["seen"] = read_json(account)


def _soil(work):
    work.found["soil"], work.found["soil_surfaces"] = [], {}
    if not work.record.counts[PROBES]:
        return
    for name in results_held(open_record(work.record.path, only=(PROBES,), tick=work.look)):
        points, account = (work.scratch(f"soil_{name}.{kind}") for kind in ("gpkg", "json"))
        try:
            work.run("soilatprobes", RECORD=work.record.path, RESULT=list(QUANTITIES).index(name),
                     OBSERVATIONS=points, ACCOUNT=account)
        except Refused as problem:
            work.lacks(layer_spec(PROBES).column(name).title, problem)
            continue
        work.found["soil"].append(read_json(account))
        if name in SOIL_SURFACES:
            _soil_surface(work, name, points)


def _soil_surface(work, name, points):
    column = layer_spec(PROBES).column(name)
    try:
        work.found["soil_surfaces"][name] = work.surface(
            SOIL_SURFACES[name], points, "value", error="error", title=column.title,
            unit=unit_of(column, work.record.units, work.record.currency))
    except Refused as problem:
        work.lacks(f"{column.title} map", problem)


def _findings(work):
    account = work.scratch("findings.json")
    try:
        result = work.run("findings", RECORD=work.record.path, UNITS_CHECKED=work.units_checked,
                          FINDINGS=work.scratch("findings.gpkg"), ACCOUNT=account)
    except Refused as problem:
        work.lacks("What the readings point to", problem)
        return
    found = read_json(account)
    if result["NOT_LOOKED_AT"] < len(found["causes"]):
        work.found["findings"] = found


def _replant(work):
    if "stand" not in work.found:
        return
    _plan(work, "replant", "Replant plan", "replantplan", STAND=work.path(SURFACES, "stand.tif"))


def _tillage(work):
    pan = work.found.get("pan")
    if pan is None or pan["chance"] is None or pan["bottom"] is None:
        return
    _plan(work, "tillage", "Tillage plan", "tillageplan",
          BOTTOM=work.path(SURFACES, "pan_bottom.tif"),
          CHANCE=work.path(SURFACES, "pan_chance.tif"))


def _sidedress(work):
    if "nitrate_n_ppm" in work.found["soil_surfaces"]:
        _plan(work, "sidedress", "Sidedress plan", "sidedressplan",
              NITRATE=work.path(SURFACES, "nitrate.tif"))


def _lime(work):
    if {"ph", "buffer_ph"} <= set(work.found["soil_surfaces"]):
        _plan(work, "lime", "Lime plan", "limeplan", PH=work.path(SURFACES, "ph.tif"),
              BUFFER_PH=work.path(SURFACES, "buffer_ph.tif"))


def _plan(work, name, title, algorithm, **surfaces):
    plan, account = work.scratch(f"{name}.gpkg"), work.scratch(f"{name}.json")
    try:
        work.run(algorithm, RECORD=work.record.path, PLAN=plan, ACCOUNT=account, **surfaces)
    except Refused as problem:
        work.lacks(title, problem)
        return
    work.keep_layer(plan, f"{name}_plan")
    work.found[name] = {"account": read_json(account), "path": plan}


def _rates(work):
    for name in PLANS:
        if name not in work.found:
            continue
        try:
            product = _product(work) if name == "sidedress" else {}
            work.run("ratefile", **product, PLAN=work.found[name]["path"],
                     FORMAT=[number for number, one in enumerate(FORMATS)
                             if one.kind in ("vector", "zones")],
                     FILE=work.path(RATES, f"{name}{FORMATS[0].ending}"), PAGE=work.page,
                     FIELD_NAME=work.record.field["name"] or "",
                     CUSTOMER=work.record.field["grower"] or "",
                     WORK_ORDER=work.path(RATES, f"{name}_work_order.pdf"))
        except (Refused, InputProblem) as problem:
            work.lacks(f"Rate files, {name}", problem)


def _product(work):
    """Return the parameters of a rate file that counts the product the nitrogen comes in."""
    product, units = sidedress_product(work.record), work.record.units
    if product is None:
        work.lacks("Rate files of the nitrogen product", "field, nitrogen_content is empty, so "
                   "the rates count nitrogen itself. Enter it for rates of the product.")
        return {}
    solid = {"CONTENT": 100 * product.content}
    if product.density_kg_per_l is None:
        return solid
    return {**solid, "DENSITY": product.density_kg_per_l,
            "CONTROLLER_UNIT": UNITS.index(f"{units.fuel}/{units.area}")}


def _summary(work):
    record, found = work.record, work.found
    if not any(found.get(name) for name in ("stand", "pan", "yields", "seen", "soil")):
        raise InputProblem("Nothing could be made of the record. " + " ".join(work.lacking))
    area = float(convert(area_m2(record.boundary_wkb), "m2", record.units.area))
    write_vector(work.path("zones.gpkg"), "GPKG", [*work.layers, _field(record, area)],
                 tick=work.look)
    observed = [read_vector(path, tick=work.look)[0]
                for path in sorted((work.folder / "observations").glob("*.gpkg"))]
    if observed:
        write_vector(work.path("observations.gpkg"), "GPKG", observed, tick=work.look)
    plans = {name: found[name]["account"] if name in found else None
             for name in PLANS}
    write_json(work.path("summary.json"), summary_of(
        {"file": Path(record.path).name, "sha256": record.sha256, "units": record.units,
         "field": record.field, "counts": record.counts},
        made("fieldcall", {"CELL": work.cell_m, DRIFT: DRIFTS[work.mean[DRIFT]],
                           COVARIATES: [Path(path).name for path in work.mean[COVARIATES]]},
             record.sha256),
        area=area, stand=found.get("stand"), pan=found.get("pan"), yields=found["yields"],
        seen=found.get("seen"), soil=found["soil"], soil_surfaces=found["soil_surfaces"],
        findings=found.get("findings"), doubtful=found.get("doubtful", ()), lacking=work.lacking,
        **plans))


def _field(record, area):
    return VectorLayer(
        FIELD_LAYER, record.crs_wkt,
        (Column("name", TEXT, "name of the field"), Column("area", REAL, "area of the field"),
         Column("area_unit", TEXT, "unit of the area")),
        [record.boundary_wkb], [[record.field["name"] or "", area, record.units.area]], "Field")


def _report(work):
    work.run("growerreport", SUMMARY=work.path("summary.json"), FOLDER=str(work.folder),
             RECORD=work.record.path, PAGE=work.page, PDF=work.path("report.pdf"))


def _project(work):
    for scratch in ("scratch", "observations"):
        for path in sorted((work.folder / scratch).glob("*")):
            path.unlink()
        if (work.folder / scratch).is_dir():
            (work.folder / scratch).rmdir()
    on_main_thread(lambda: write_project(
        work.folder, title=work.record.field["name"] or "Field call",
        boundary_wkb=work.record.boundary_wkb, crs_wkt=work.record.crs_wkt, tick=work.look))


STEPS = (
    ("Boundary", _boundary), ("Checks of the readings", _checks),
    ("Stand at the stops, and its surface", _stand),
    ("Stand zones", _stand_zones), ("Pan at the insertions, and its surfaces", _pan),
    ("Yields of earlier seasons", _yields), ("What was seen", _seen),
    ("Soil samples", _soil), ("What the readings point to", _findings),
    ("Replant plan", _replant), ("Tillage plan", _tillage),
    ("Sidedress plan", _sidedress), ("Lime plan", _lime), ("Rate files", _rates),
    ("Summary", _summary), ("Grower's report", _report), ("Project", _project))
