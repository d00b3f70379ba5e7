"""How long a user waits at most after pressing cancel, and how much memory is taken at the peak.

Each case runs in a process of its own; its ticks (for algorithms: looks at the feedback) are
stamped, and the longest time between two of them, and before the first and after the last, is the
longest gap. `--only WORD` runs the cases whose name holds the word; `--list` names them.
"""
import argparse
import json
import math
import resource
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[1]
CRS = "EPSG:32615"
WEST, SOUTH = 500_000.0, 4_400_000.0
CASES = {}


class Stamps:
    """Times of ticks, and the longest gap between them."""

    def __init__(self):
        self.times = [time.perf_counter()]

    def __call__(self, _fraction=None):
        self.times.append(time.perf_counter())

    def report(self):
        """Seconds of the longest gap, where it was (share of the time), seconds in all, ticks."""
        self()
        gaps = np.diff(self.times)
        at = int(np.argmax(gaps))
        whole = self.times[-1] - self.times[0]
        return {"gap_s": gaps[at], "from": (self.times[at] - self.times[0]) / whole,
                "seconds": whole, "ticks": len(self.times) - 2}


def case(function):
    """Name a case after its function."""
    CASES[function.__name__.strip("_").replace("_", " ")] = function
    return function


def side_of(cells, cell_m=1.0):
    """Side of a square field of so many cells, metres."""
    return math.sqrt(cells) * cell_m


def readings(count, side_m, *, seed=1, beyond=0, error=0.5):
    """Observations of a smooth field with noise; the `beyond` highest known only as limits."""
    from plugin.core.observations import ABOVE, Observations
    generator = np.random.default_rng(seed)
    places = np.array([WEST, SOUTH]) + generator.uniform(0.02, 0.98, (count, 2)) * side_m
    u, v = ((places - [WEST, SOUTH]) / side_m).T
    values = 20 + 4 * np.sin(5 * u) * np.cos(4 * v) + generator.normal(0, 0.8, count)
    censoring = np.zeros(count, int)
    if beyond:
        limit = np.sort(values)[-beyond]
        censoring[values >= limit] = ABOVE
        values = np.minimum(values, limit)
    return Observations.of("Stand", "in", places, values, error_variance=np.full(count, error**2),
                           censoring=censoring)


def grid_of(side_m, cell_m=1.0):
    """The grid over the field, and a mask of all of it."""
    from plugin.core.grid import Grid
    grid = Grid.covering(WEST, SOUTH, WEST + side_m, SOUTH + side_m, cell_m=cell_m)
    return grid, np.ones(grid.shape)


def surface_of(count, cells, tick=None, **settings):
    """A surface of readings on a square field."""
    from plugin.core.interpolate.estimate import estimate_surface
    from plugin.core.interpolate.map_settings import MapSettings
    side = side_of(cells)
    return estimate_surface(readings(count, side, beyond=settings.pop("beyond", 0)),
                            *grid_of(side), settings=MapSettings(**settings), tick=tick)


def model():
    """A covariance model with a nugget."""
    from plugin.core.interpolate.covariance import CovarianceModel
    return CovarianceModel("exponential", 0.6, 12.0, 80.0)


# ---- core roads ------------------------------------------------------------------------

@case
def core_surface_250_readings_1M_cells(stamps):
    surface_of(250, 1_000_000, stamps)


@case
def core_surface_500_readings_250k_cells(stamps):
    surface_of(500, 250_000, stamps)


@case
def core_surface_100_of_200_censored_100k_cells(stamps):
    surface_of(200, 100_000, stamps, beyond=100)


@case
def core_surface_50000_readings_local_100k_cells(stamps):
    surface_of(50_000, 100_000, stamps)


@case
def core_surface_250_readings_10M_cells(stamps):
    surface_of(250, 9_990_000, stamps)


@case
def core_surface_2000_readings_local_10M_cells(stamps):
    surface_of(2000, 9_990_000, stamps)


@case
def core_surface_50_of_100_censored_10M_cells(stamps):
    surface_of(100, 9_990_000, stamps, beyond=50)


@case
def core_surface_12_equal_readings_10M_cells(stamps):
    surface_of(9, 9_990_000, stamps)


@case
def core_block_kriging_250_readings_250k_cells(stamps):
    surface_of(250, 250_000, stamps, block_m=1.0)


@case
def core_anisotropic_250_readings_250k_cells(stamps):
    surface_of(250, 250_000, stamps, heading_deg=30.0)


@case
def core_linear_drift_250_readings_250k_cells(stamps):
    surface_of(250, 250_000, stamps, linear=True)


@case
def core_diagnostics_50000_readings(stamps):
    from plugin.core.interpolate.diagnostics import diagnostics
    diagnostics(readings(50_000, 1000), model(), tick=stamps)


@case
def core_diagnostics_20000_readings(stamps):
    from plugin.core.interpolate.diagnostics import diagnostics
    diagnostics(readings(20_000, 1000), model(), tick=stamps)


@case
def core_field_mean_600_readings_1M_cells(stamps):
    from plugin.core.interpolate.field_mean import field_mean
    surface = surface_of(600, 1_000_000)
    stamps.times = [time.perf_counter()]
    field_mean(surface, tick=stamps)


@case
def core_draws_of_surface_250_readings_25k_cells(stamps):
    from plugin.core.interpolate.draws_of_surface import draws_of_surface
    surface = surface_of(250, 25_000)
    stamps.times = [time.perf_counter()]
    draws_of_surface(surface, draws=400, tick=stamps)


@case
def core_draws_of_surface_600_readings_1M_cells(stamps):
    from plugin.core.interpolate.draws_of_surface import draws_of_surface
    surface = surface_of(600, 1_000_000)
    stamps.times = [time.perf_counter()]
    draws_of_surface(surface, draws=400, tick=stamps)


@case
def core_next_stops_600_readings_1M_cells(stamps):
    from plugin.core.decide.linear_loss import LinearLoss
    from plugin.core.decide.next_stops import next_stops
    surface = surface_of(600, 1_000_000)
    stamps.times = [time.perf_counter()]
    next_stops(surface, LinearLoss(20.0, 100.0, "ha"), count=5, tick=stamps)


@case
def core_zones_10M_cells(stamps):
    from plugin.core.zone.by_limits import zones_by_limits
    from plugin.core.zone.workable import WorkableShape, workable_zones
    surface = surface_of(9, 9_990_000)
    wave = np.add.outer(np.sin(np.arange(surface.grid.rows) / 90),
                        np.cos(np.arange(surface.grid.columns) / 70))
    surface.estimate[:] = wave + np.random.default_rng(1).normal(0, 0.05, wave.shape)
    stamps.times = [time.perf_counter()]
    zones = zones_by_limits(surface, [-0.5, 0.5], tick=stamps)
    workable_zones(zones, surface.estimate, tick=stamps, shape=WorkableShape(
        machine_width_m=12 * surface.grid.cell_m, smallest_area_m2=2000.0))


# ---- algorithms ------------------------------------------------------------------------

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

        for name, module in list(sys.modules.items()):
            if name.startswith("plugin.algorithms.") and hasattr(module, "ticker") \
                    and not name.endswith(".base"):
                module.ticker = stamped(stamps)

        def run(algorithm, **parameters):
            stamps.times = [time.perf_counter()]
            found = processing.run(f"spadework:{algorithm}", parameters, feedback=feedback)
            stamps()
            return found
        yield run
        QgsApplication.processingRegistry().removeProvider(provider)


def stamped(stamps):
    """`ticker`, stamped also under the feedback of several steps, which is not looked at here."""
    from plugin.algorithms import base

    def ticker(feedback, start=0.0, end=1.0):
        told = base.ticker(feedback, start, end)

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


def of_sample(stamps, algorithm, **parameters):
    """An algorithm on the sample record with its 25,000 yield records."""
    import shutil

    from sample_project.make_sample import add_yields
    with tempfile.TemporaryDirectory() as folder, qgis_with(stamps) as run:
        record = f"{folder}/call.gpkg"
        shutil.copyfile(ROOT / "sample_project" / "sample_field.gpkg", record)
        add_yields(record)
        if algorithm != "fieldcall":
            run("fieldcall", RECORD=record, OUTPUT_FOLDER=f"{folder}/results", CELL=5.0)
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


# ---- the table -------------------------------------------------------------------------

def measure(name):
    """Run one case here and print what was measured as JSON."""
    stamps = Stamps()
    before = peak_mb()
    CASES[name](stamps)
    print(json.dumps({**stamps.report(), "before_mb": before, "peak_mb": peak_mb()}))


def peak_mb():
    """Largest memory that this process has taken, MB (Linux counts in kB)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main():
    """Run the cases asked for, each in a process of its own, and print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", default="", help="run the cases whose name holds this")
    parser.add_argument("--case", help="run this one case here, and print JSON")
    parser.add_argument("--list", action="store_true", help="name the cases and end")
    arguments = parser.parse_args()
    if arguments.case:
        return measure(arguments.case)
    chosen = [name for name in CASES if arguments.only in name]
    if arguments.list:
        print("\n".join(chosen))
        return None
    print(f"{'case':62} {'gap, s':>7} {'at':>5} {'all, s':>7} {'ticks':>6} {'peak, MB':>9}")
    for name in chosen:
        done = subprocess.run([sys.executable, "-W", "ignore", __file__, "--case", name],
                              capture_output=True, text=True, check=False)
        if done.returncode:
            print(f"{name:62} failed: {done.stderr.strip().splitlines()[-1]}", flush=True)
            continue
        found = json.loads(done.stdout.strip().splitlines()[-1])
        print(f"{name:62} {found['gap_s']:7.2f} {found['from']:5.0%} {found['seconds']:7.1f} "
              f"{found['ticks']:6} {found['peak_mb']:9.0f}", flush=True)
    return None


if __name__ == "__main__":
    main()
