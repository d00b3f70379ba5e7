"""The demo: the sample field from its readings to the grower's report, in one command.

Run from the repository root: /usr/bin/python3 -m sample_project.demo [--page Letter]
"""
import argparse
import json
import shutil
import sys
import time
from pathlib import Path

from .headless_qgis import headless_qgis

HERE = Path(__file__).parent
ROOT = HERE.parent
PAGES = ("A4", "Letter")


def run_demo(folder, *, page="A4", cell_m=5.0):
    """Make the demo's record in `folder` and its results in `folder`/results; return the results.

    Raises   QgsProcessingException: the field call refused or failed
    """
    import processing
    from processing.core.Processing import Processing
    from qgis.core import QgsApplication, QgsProcessingFeedback

    from plugin.algorithms.provider import SpadeworkProvider

    from .make_sample import add_yields
    Processing.initialize()
    provider = SpadeworkProvider()
    QgsApplication.processingRegistry().addProvider(provider)
    folder.mkdir(parents=True, exist_ok=True)
    record = folder / "sample_field.gpkg"
    shutil.copyfile(HERE / "sample_field.gpkg", record)
    add_yields(str(record))

    class Words(QgsProcessingFeedback):
        """Says which step is under way, and what is doubtful."""

        def setProgressText(self, text):
            print(f"  {time.monotonic() - started:5.1f} s  {text}", flush=True)

        def pushWarning(self, warning):
            print(f"           note: {warning}", flush=True)

        def reportError(self, error, fatalError=False):
            print(error, file=sys.stderr, flush=True)

    started = time.monotonic()
    try:
        processing.run("spadework:fieldcall", {
            "RECORD": str(record), "OUTPUT_FOLDER": str(folder / "results"),
            "PAGE": PAGES.index(page), "CELL": cell_m, "REPLACE": True}, feedback=Words())
    finally:
        QgsApplication.processingRegistry().removeProvider(provider)
    return folder / "results"


def table_of(plan):
    """Return a plan's zones as lines of a table, figures as the report prints them."""
    rows = [("zone", "action", "rate", "area", "gain", "range", "chance")]
    rows += [(zone["zone"], zone["action"], zone["rate"]["text"], zone["area"]["text"],
              zone["gain"]["text"], zone["interval"]["text"], zone["chance"]["text"])
             for zone in plan["zones"]]
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    return ["  " + "  ".join(word.ljust(width) for word, width in zip(row, widths)).rstrip()
            for row in rows]


def main(words=None):
    """Run the demo and print what came out; return 0, or 1 when it failed."""
    parser = argparse.ArgumentParser(prog="sample_project.demo", description=__doc__)
    parser.add_argument("--folder", type=Path, default=ROOT / "demo",
                        help="where the record and the results go (default: demo)")
    parser.add_argument("--page", choices=PAGES, default="A4", help="paper of the report")
    arguments = parser.parse_args(words)
    folder = arguments.folder.absolute()
    print("Sample field (invented data): from the record to hand-over")
    with headless_qgis():
        sys.path.append(_processing_path())
        from qgis.core import QgsProcessingException
        try:
            results = run_demo(folder, page=arguments.page)
        except QgsProcessingException as problem:
            print(f"The field call failed: {problem}", file=sys.stderr)
            return 1
    summary = json.loads((results / "summary.json").read_text(encoding="utf-8"))
    for name in ("replant", "tillage", "sidedress", "lime"):
        if summary[name] is not None:
            print(f"\n{summary[name]['title']}: {summary[name]['headline']}")
            print("\n".join(table_of(summary[name])))
    for sentence in summary["lacking"]:
        print(f"Could not be done: {sentence}")
    print("\nWritten:")
    for path in sorted(results.rglob("*")):
        if path.is_file():
            print(f"  {path.relative_to(folder.parent)}")
    return 0


def _processing_path():
    from qgis.core import QgsApplication
    return str(Path(QgsApplication.pkgDataPath()) / "python" / "plugins")


if __name__ == "__main__":
    sys.exit(main())
