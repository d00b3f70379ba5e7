"""The plugin as qgis_process runs it: in a process and a profile of its own."""
import os
import shutil
import subprocess
from pathlib import Path

import pytest
from osgeo import ogr

from plugin.algorithms.provider import IDS
from tests.algorithms.small_calls import FIELD_WKT, make_call, stand_rows

ROOT = Path(__file__).parents[1]
ALGORITHMS = {"newrecord", "standatstops", "panatinsertions", "cleanyield", "surface",
              "chancemap", "zonesbylimits", "zonesbylikeness", "replantplan", "tillageplan",
              "ratefile", "growerreport", "fieldcall", "nextstops", "importreadings",
              "checkrecord", "planstops", "placereadings", "rowunittest", "soilatprobes",
              "scouting", "sidedressplan", "limeplan"}


def qgis_process():
    """The program itself: Debian 12 puts a wrapper of that name before it that cannot work."""
    found = shutil.which("qgis_process.bin") or shutil.which("qgis_process")
    assert found, "qgis_process comes with QGIS; it was not found on the PATH"
    return found


@pytest.fixture(scope="module")
def command(tmp_path_factory):
    """Return command(*arguments): run qgis_process with this plugin alone switched on."""
    home = tmp_path_factory.mktemp("home")
    plugins, profile = home / "plugins", home / "profile"
    settings = profile / "profiles" / "default" / "QGIS"
    for folder in (plugins, settings, home / "runtime"):
        folder.mkdir(parents=True, mode=0o700)
    (plugins / "spadework").symlink_to(ROOT)
    (settings / "QGIS3.ini").write_text("[PythonPlugins]\nspadework=true\n")
    environment = {
        "PATH": os.environ["PATH"], "HOME": str(home), "LC_ALL": "C.UTF-8",
        "QT_QPA_PLATFORM": "offscreen", "XDG_RUNTIME_DIR": str(home / "runtime"),
        "QGIS_PLUGINPATH": str(plugins), "QGIS_CUSTOM_CONFIG_PATH": str(profile),
        "PYTHONDONTWRITEBYTECODE": "1"}

    def run(*arguments):
        return subprocess.run([qgis_process(), *map(str, arguments)], capture_output=True,
                              text=True, env=environment, timeout=120)
    return run


@pytest.fixture
def record(qgis_app, tmp_path):
    return make_call(tmp_path / "call.gpkg", stands=stand_rows())


def test_every_algorithm_of_the_provider_is_listed(command):
    done = command("list")
    assert done.returncode == 0, done.stderr
    listed = {line.split()[0].removeprefix("spadework:") for line in done.stdout.splitlines()
              if line.strip().startswith("spadework:")}
    assert listed == set(IDS) >= ALGORITHMS


def test_readings_become_observations_and_a_surface(command, record, tmp_path):
    done = command("run", "spadework:standatstops", f"--RECORD={record}",
                   f"--OBSERVATIONS={tmp_path / 'stand.gpkg'}")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "STOPS:\t24" in done.stdout and "24 stops; the error of a count rests on" in done.stdout
    boundary = tmp_path / "field.geojson"
    _write_field(boundary)
    done = command("run", "spadework:surface", f"--INPUT={tmp_path / 'stand.gpkg'}",
                   "--FIELD=population", "--ERROR_FIELD=error", f"--BOUNDARY={boundary}",
                   "--CELL=20", f"--SURFACE={tmp_path / 'stand.tif'}")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "VERDICT:\tThe map holds" in done.stdout
    assert "0...10...20..." in done.stdout  # it tells how far it has come
    assert {path.name for path in tmp_path.iterdir()} == {
        "call.gpkg", "stand.gpkg", "field.geojson", "stand.tif"}


@pytest.mark.parametrize("algorithm,arguments,words", [
    ("spadework:panatinsertions", ["--OBSERVATIONS={out}/pan.gpkg"],
     "compaction_readings holds no reading. Enter the insertions."),
    ("spadework:standatstops", ["--OBSERVATIONS={out}/stand.csv"],
     "give the output a file name that ends in .gpkg"),
    ("spadework:cleanyield", ["--SEASON=2020", "--CLEANED={out}/yield.gpkg"],
     "yield_points holds no record of 2020"),
    ("spadework:importreadings", ["--SOURCE={out}/gone.csv", "--KIND=seed_depths"],
     "There is no file"),
    ("spadework:fieldcall", ["--OUTPUT_FOLDER={out}/gone/call"], "There is no folder")])
def test_a_run_that_fails_says_why_exits_with_1_and_leaves_no_file(
        command, record, tmp_path, algorithm, arguments, words):
    out = tmp_path / "out"
    out.mkdir()
    before = record.read_bytes()
    done = command("run", algorithm, f"--RECORD={record}",
                   *(argument.format(out=out) for argument in arguments))
    assert done.returncode == 1
    assert words in done.stdout + done.stderr
    assert "Traceback" not in done.stdout + done.stderr
    assert list(out.iterdir()) == [] and record.read_bytes() == before


def _write_field(path):
    from osgeo import osr
    reference = osr.SpatialReference()
    reference.ImportFromEPSG(32615)
    data = ogr.GetDriverByName("GeoJSON").CreateDataSource(str(path))
    layer = data.CreateLayer("field", reference, ogr.wkbPolygon)
    feature = ogr.Feature(layer.GetLayerDefn())
    feature.SetGeometry(ogr.CreateGeometryFromWkt(FIELD_WKT))
    assert layer.CreateFeature(feature) == 0
    feature = layer = data = None
