"""Cases of cancel_gaps.py that run algorithms, with all that they read and write."""
import math
import sys
import tempfile
from contextlib import contextmanager
from pathlib import Path

import numpy as np
from gap_cases_core import CRS, SOUTH, WEST, readings, side_of
from gap_stamps import case

ROOT = Path(__file__).parents[1]


@contextmanager
def qgis_with(stamps):
    """QGIS with the provider; every look of an algorithm at its feedback is stamped."""
    from sample_project.headless_qgis import headless_qgis
    with headless_qgis():
        from qgis.core import QgsApplication
        sys.path.append(str(Path(QgsApplication.pkgDataPath()) / "python" / "plugins"))
        import processing
        from processing.core.Processing import Processing
        from qgis.core import QgsProcessingFeedback

        from plugin.algorithms.provider import SpadeworkProvider
        Processing.initialize()
        provider = SpadeworkProvider()
        QgsApplication.processingRegistry().addProvider(provider)

        class Stamping(QgsProcessingFeedback):
            def isCanceled(self):
                stamps()
                return super().isCanceled()

        feedback = Stamping()
        feedback.progressChanged.connect(stamps)

        ticker = stamped(stamps)
        for name, module in list(sys.modules.items()):
            if name.startswith("plugin.algorithms.") and hasattr(module, "ticker"):
                module.ticker = ticker

        from plugin.algorithms.field_call_steps import FieldCallWork
        plain_look = FieldCallWork.look

        def look(work, fraction=None):
            stamps()
            plain_look(work, fraction)
        FieldCallWork.look = look

        def run(algorithm, **parameters):
            stamps.begin()
            found = processing.run(f"spadework:{algorithm}", parameters, feedback=feedback)
            stamps()
            return found
        yield run
        QgsApplication.processingRegistry().removeProvider(provider)


def stamped(stamps):
    """`ticker`, stamped also under the feedback of several steps, which is not looked at here."""
    from plugin.algorithms import base
    plain = base.ticker

    def ticker(feedback, start=0.0, end=1.0):
        told = plain(feedback, start, end)

        def tick(fraction):
            stamps()
            told(fraction)
        return tick
    return ticker


def layers(folder, count, cells, **of):
    """The readings and the field as files."""
    from plugin.layers.strict_ogr import spatial_reference
    from plugin.layers.vectors import REAL, TEXT, Column, VectorLayer, points_wkb, write_vector
    side = side_of(cells)
    crs = spatial_reference(CRS).ExportToWkt()
    found = readings(count, side, **of)
    write_vector(f"{folder}/readings.gpkg", "GPKG", [VectorLayer(
        "readings", crs, (Column("value", REAL), Column("error", REAL), Column("censor", TEXT)),
        points_wkb(found.positions_m),
        [[value, math.sqrt(variance), "above" if censored else ""] for value, variance, censored
         in zip(found.values, found.error_variance, found.censoring)])])
    from osgeo import ogr
    angles = np.linspace(0, 2 * np.pi, 400)  # an outline with as many corners as a drawn one
    half = side / 2
    corners = ", ".join(f"{WEST + half * (1 + math.sin(a))} {SOUTH + half * (1 - math.cos(a))}"
                        for a in [*angles[:-1], angles[0]])
    field = ogr.CreateGeometryFromWkt(f"POLYGON (({corners}))")
    write_vector(f"{folder}/field.gpkg", "GPKG", [VectorLayer(
        "field", crs, (), [bytes(field.ExportToWkb(ogr.wkbNDR))], [[]])])
    return {"INPUT": f"{folder}/readings.gpkg", "FIELD": "value", "ERROR_FIELD": "error",
            "CENSOR_FIELD": "censor", "BOUNDARY": f"{folder}/field.gpkg", "CELL": 1.0,
            "UNIT": "in", "SURFACE": f"{folder}/s.tif"}


def surface_case(stamps, count, cells, further=(), **of):
    """The surface algorithm on files; the square is larger, the round field holds the cells."""
    with tempfile.TemporaryDirectory() as folder, qgis_with(stamps) as run:
        names = {"DIAGNOSTICS": "s.json", "FIGURES": "s.png", "UNSURE": "u.gpkg"}
        run("surface", **layers(folder, count, cells, **of),
            **{name: f"{folder}/{names[name]}" for name in further})


@case
def surface_250_readings_1M_cells_all_outputs(stamps):
    surface_case(stamps, 250, 1_000_000, ("DIAGNOSTICS", "FIGURES", "UNSURE"))


@case
def surface_50000_readings_100k_cells_with_diagnostics(stamps):
    surface_case(stamps, 50_000, 100_000, ("DIAGNOSTICS", "FIGURES", "UNSURE"))


@case
def surface_100_of_200_censored_250k_cells(stamps):
    surface_case(stamps, 200, 250_000, ("DIAGNOSTICS",), beyond=100)


@case
def surface_250_readings_10M_cells_all_outputs(stamps):
    surface_case(stamps, 250, 9_900_000, ("DIAGNOSTICS", "UNSURE"))


@case
def surface_250_readings_5M_cells(stamps):
    surface_case(stamps, 250, 5_000_000)


@case
def surface_250_readings_10M_cells(stamps):
    surface_case(stamps, 250, 9_900_000)


@case
def surface_250_readings_1M_cells(stamps):
    surface_case(stamps, 250, 1_000_000)


def after_surface(stamps, algorithm, cells, count=250, **parameters):
    """An algorithm on a surface that was made before."""
    with tempfile.TemporaryDirectory() as folder, qgis_with(stamps) as run:
        run("surface", **layers(folder, count, cells))
        run(algorithm, SURFACE=f"{folder}/s.tif", **{
            name: f"{folder}/{value}" if str(value).startswith("@") else value
            for name, value in parameters.items()})


@case
def chancemap_10M_cells(stamps):
    after_surface(stamps, "chancemap", 9_900_000, LIMIT=20.0, SIDE=0, CHANCE="@c.tif")


@case
def nextstops_600_readings_1M_cells(stamps):
    after_surface(stamps, "nextstops", 1_000_000, 600, DECISION=0, LIMIT=20.0, LOSS=100.0,
                  STOPS="@stops.gpkg", GPX="@stops.gpx")


@case
def zonesbylimits_1M_cells(stamps):
    with tempfile.TemporaryDirectory() as folder, qgis_with(stamps) as run:
        given = layers(folder, 250, 1_000_000)
        run("surface", **given)
        run("zonesbylimits", SURFACE=given["SURFACE"], BOUNDARY=given["BOUNDARY"],
            LIMITS="17; 19; 21", MACHINE_WIDTH=12.0, SMALLEST_AREA=0.2, ZONES=f"{folder}/z.gpkg")


def sample_call(folder, run=None):
    """The sample record with its yield records, and results beside it where `run` makes them."""
    import shutil

    from sample_project.make_sample import add_yields
    record = f"{folder}/call.gpkg"
    shutil.copyfile(ROOT / "sample_project" / "sample_field.gpkg", record)
    add_yields(record)
    if run is not None:
        run("fieldcall", RECORD=record, OUTPUT_FOLDER=f"{folder}/results", CELL=5.0)
    return record


def of_sample(stamps, algorithm, **parameters):
    """An algorithm on the sample record with its 25,000 yield records."""
    with tempfile.TemporaryDirectory() as folder, qgis_with(stamps) as run:
        record = sample_call(folder, run if algorithm != "fieldcall" else None)
        run(algorithm, RECORD=record, **{
            name: f"{folder}/{value[1:]}" if str(value).startswith("@") else value
            for name, value in parameters.items()})


@case
def fieldcall_of_the_sample(stamps):
    of_sample(stamps, "fieldcall", OUTPUT_FOLDER="@results", CELL=5.0)


@case
def cleanyield_of_the_sample(stamps):
    of_sample(stamps, "cleanyield", SEASON=2024, CLEANED="@c.gpkg", REMOVED="@r.gpkg",
              ACCOUNT="@c.json")


@case
def standatstops_of_the_sample(stamps):
    of_sample(stamps, "standatstops", OBSERVATIONS="@o.gpkg", ACCOUNT="@o.json")


@case
def panatinsertions_of_the_sample(stamps):
    of_sample(stamps, "panatinsertions", OBSERVATIONS="@o.gpkg", ACCOUNT="@o.json")


@case
def replantplan_of_the_sample(stamps):
    of_sample(stamps, "replantplan", STAND="@results/surfaces/stand.tif", PLAN="@p.gpkg",
              ACCOUNT="@p.json")


@case
def tillageplan_of_the_sample(stamps):
    of_sample(stamps, "tillageplan", BOTTOM="@results/surfaces/pan_bottom.tif",
              CHANCE="@results/surfaces/pan_chance.tif", PLAN="@p.gpkg", ACCOUNT="@p.json")


@case
def growerreport_of_the_sample(stamps):
    of_sample(stamps, "growerreport", SUMMARY="@results/summary.json", FOLDER="@results", PAGE=0,
              PDF="@r.pdf")


def of_yields(stamps, algorithm, count, **parameters):
    """An algorithm on the sample record with so many yield records of 2025, as many as one CSV."""
    import shutil

    from importing import write_yields
    with tempfile.TemporaryDirectory() as folder, qgis_with(stamps) as run:
        record, source = f"{folder}/call.gpkg", f"{folder}/yields.csv"
        shutil.copyfile(ROOT / "sample_project" / "sample_field.gpkg", record)
        write_yields(source, count)
        if algorithm != "importreadings":
            run("importreadings", RECORD=record, SOURCE=source, KIND="yield_points")
        run(algorithm, RECORD=record, **{
            name: f"{folder}/{value[1:]}" if str(value).startswith("@") else value
            for name, value in parameters.items()})


@case
def importreadings_300k_rows(stamps):
    of_yields(stamps, "importreadings", 300_000, SOURCE="@yields.csv", KIND="yield_points")


@case
def cleanyield_300k_records(stamps):
    of_yields(stamps, "cleanyield", 300_000, SEASON=2025, CLEANED="@c.gpkg", REMOVED="@r.gpkg",
              ACCOUNT="@c.json")


@case
def checkrecord_300k_yields(stamps):
    of_yields(stamps, "checkrecord", 300_000, FLAGS="@f.gpkg", ACCOUNT="@f.json")


@case
def scouting_300k_yields(stamps):
    of_yields(stamps, "scouting", 300_000, ACCOUNT="@s.json")


@case
def surface_300k_readings_100k_cells(stamps):
    surface_case(stamps, 300_000, 100_000)


@case
def zonesbylikeness_1M_cells(stamps):
    with tempfile.TemporaryDirectory() as folder, qgis_with(stamps) as run:
        given = layers(folder, 250, 1_000_000)
        run("surface", **given)
        run("zonesbylikeness", LAYERS=[given["SURFACE"]], BOUNDARY=given["BOUNDARY"],
            MACHINE_WIDTH=12.0, SMALLEST_AREA=0.2, ZONES=f"{folder}/z.gpkg",
            CONFUSION=f"{folder}/c.tif")


@case
def planstops_100_stops_1M_cells(stamps):
    with tempfile.TemporaryDirectory() as folder, qgis_with(stamps) as run:
        given = layers(folder, 20, 1_000_000)
        run("planstops", BOUNDARY=given["BOUNDARY"], COUNT=100, STOPS=f"{folder}/s.gpkg",
            GPX=f"{folder}/s.gpx", SHEET=f"{folder}/s.pdf")


@case
def findings_of_the_sample(stamps):
    of_sample(stamps, "findings", FINDINGS="@f.gpkg", ACCOUNT="@f.json")


@case
def rowunittest_of_the_sample(stamps):
    of_sample(stamps, "rowunittest", ROW_UNITS="@u.gpkg", ACCOUNT="@u.json")


@case
def ratefile_of_the_sample(stamps):
    from plugin.core.deliver.rate_formats import FORMATS
    with tempfile.TemporaryDirectory() as folder, qgis_with(stamps) as run:
        record = sample_call(folder, run)
        run("replantplan", RECORD=record, STAND=f"{folder}/results/surfaces/stand.tif",
            PLAN=f"{folder}/p.gpkg")
        run("ratefile", PLAN=f"{folder}/p.gpkg", FORMAT=list(range(len(FORMATS))), CELL=2.0,
            FILE=f"{folder}/rates{FORMATS[0].ending}", WORK_ORDER=f"{folder}/w.pdf")
