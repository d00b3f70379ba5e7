"""Install the package into an empty profile and put it to work there: try_package.py ZIP.

QGIS is started by qgis_process, away from the checkout, with a profile that holds nothing but the
unpacked zip: every algorithm of the source must be listed, and the field call must take the
sample record, with its yields, to every output, and refuse a record that is not there.
"""
import ast
import json
import os
import shutil
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
NAME = "spadework"
SECONDS = 300  # the longest that one call may take
LAST = 6000  # characters of what QGIS said that are shown when something is wrong
# outputs that the sample record must give; a pattern stands for at least so many files
OUTPUTS = {
    "surfaces/stand.tif": 1, "surfaces/pan_top.tif": 1, "surfaces/pan_bottom.tif": 1,
    "surfaces/pan_chance.tif": 1, "surfaces/yield_*.tif": 2, "observations.gpkg": 1,
    "zones.gpkg": 1, "rates/replant*.gpkg": 1, "rates/replant*.shp": 1,
    "rates/replant*.geojson": 1, "rates/tillage*.gpkg": 1, "rates/tillage*.shp": 1,
    "rates/tillage*.geojson": 1, "rates/*.zip": 2, "rates/*_work_order.pdf": 2,
    "report.pdf": 1, "summary.json": 1, "project.qgz": 1,
}


def program():
    """Return the qgis_process to call: Debian 12's wrapper fails, what it wraps does not."""
    for name in ("qgis_process.bin", "qgis_process"):
        if shutil.which(name):
            return name
    raise SystemExit("try: there is no qgis_process; it comes with the package qgis.")


class Installed:
    """QGIS with the package unpacked into a profile in `folder`, and nothing else."""

    def __init__(self, package, folder):
        profile = folder / "profile" / "profiles" / "default"
        (profile / "QGIS").mkdir(parents=True)
        (profile / "QGIS" / "QGIS3.ini").write_text(f"[PythonPlugins]\n{NAME}=true\n", "utf-8")
        with zipfile.ZipFile(package) as unpacked:
            unpacked.extractall(profile / "python" / "plugins")
        (folder / "runtime").mkdir(mode=0o700)
        self.folder = folder
        self.environment = {
            **{key: value for key, value in os.environ.items()
               if not key.startswith(("QGIS_", "PYTHON"))},
            "HOME": str(folder), "LC_ALL": "C.UTF-8", "QT_QPA_PLATFORM": "offscreen",
            "XDG_RUNTIME_DIR": str(folder / "runtime"),
            "QGIS_CUSTOM_CONFIG_PATH": str(folder / "profile"),
        }

    def call(self, *words):
        """Return (exit code, standard output, all that was said) of one call."""
        run = subprocess.run([program(), *words], cwd=self.folder, env=self.environment,
                             stdin=subprocess.DEVNULL, capture_output=True, text=True,
                             timeout=SECONDS)
        return run.returncode, run.stdout, run.stdout + run.stderr


def ids_in_source():
    """Return the ids of the algorithms, as plugin/algorithms/provider.py states them."""
    tree = ast.parse((ROOT / "plugin" / "algorithms" / "provider.py").read_text("utf-8"))
    for node in tree.body:
        if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "IDS":
            return set(ast.literal_eval(node.value))
    raise SystemExit("try: plugin/algorithms/provider.py states no IDS.")


def check_list(installed):
    """SystemExit unless the installed plugin lists exactly the algorithms of the source."""
    code, output, said = installed.call("--json", "list")
    if code:
        raise SystemExit(f"try: qgis_process list ended with {code}:\n{said[-LAST:]}")
    provider = json.loads(output[output.index("{"):])["providers"].get(NAME)
    if provider is None:
        raise SystemExit(f"try: the installed plugin brings no provider {NAME}:\n{said[-LAST:]}")
    listed = {name.split(":")[1] for name in provider["algorithms"]}
    if listed != ids_in_source():
        raise SystemExit(f"try: listed and in the source differ: {listed ^ ids_in_source()}")
    print(f"try: the installed plugin lists {len(listed)} algorithms: {', '.join(sorted(listed))}")


def check_field_call(installed):
    """SystemExit unless the field call gives every output and leaves the record as it was."""
    record, out = installed.folder / "record.gpkg", installed.folder / "results"
    for what in ("record", "yields"):
        subprocess.run([sys.executable, "-m", "sample_project.make_sample", what, str(record)],
                       cwd=ROOT, check=True, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
                       timeout=SECONDS)
    before = record.read_bytes()
    code, _, said = installed.call(
        "run", f"{NAME}:fieldcall", f"--RECORD={record}", f"--OUTPUT_FOLDER={out}")
    if code:
        raise SystemExit(f"try: fieldcall ended with {code}:\n{said[-LAST:]}")
    lacking = [pattern for pattern, least in OUTPUTS.items()
               if sum(path.stat().st_size > 0 for path in out.glob(pattern)) < least]
    if lacking:
        raise SystemExit(f"try: fieldcall gave no {', '.join(lacking)}:\n{said[-LAST:]}")
    if "Traceback" in said:
        raise SystemExit(f"try: fieldcall ended well, but an error was printed:\n{said[-LAST:]}")
    if record.read_bytes() != before:
        raise SystemExit("try: fieldcall changed the record.")
    field = json.loads((out / "summary.json").read_text("utf-8"))["field"]
    count = sum(path.is_file() for path in out.rglob("*"))
    print(f"try: fieldcall made {count} files for {field['name']}, {field['area']['text']}")


def check_refusal(installed):
    """SystemExit unless a record that is not there is refused, and nothing is left behind."""
    before = sorted(path.name for path in installed.folder.iterdir())
    code, _, said = installed.call(
        "run", f"{NAME}:fieldcall", f"--RECORD={installed.folder / 'absent.gpkg'}",
        f"--OUTPUT_FOLDER={installed.folder / 'refused'}")
    if code == 0:
        raise SystemExit(f"try: fieldcall accepted a record that is not there:\n{said[-LAST:]}")
    left = sorted({path.name for path in installed.folder.iterdir()} - set(before))
    if left:
        raise SystemExit(f"try: a refused field call left {', '.join(left)} behind.")
    print("try: a record that is not there is refused, and nothing is left behind")


if __name__ == "__main__":
    with tempfile.TemporaryDirectory(prefix="spadework-") as name:
        qgis = Installed(Path(sys.argv[1]), Path(name))
        check_list(qgis)
        check_field_call(qgis)
        check_refusal(qgis)
