"""What a field call's folder holds, in the order a reader asks for it."""
from dataclasses import dataclass
from pathlib import Path

from ..algorithms.base import tr

_NAMES = {"pan_top": tr("top of the pan"), "pan_bottom": tr("bottom of the pan"),
          "pan_chance": tr("chance of a pan")}
_ORDER = "_work_order"  # what the name of a work order ends in


@dataclass(frozen=True)
class Output:
    """One file a field call wrote: what it is, where it lies."""
    title: str
    path: Path


def _words(path):
    """Return what a file of a field call is about, in words: by its name, such as pan_top."""
    return _NAMES.get(path.stem) or path.stem.replace("_", " ")


def outputs_in(folder):
    """Return the Outputs of the field call in `folder`; none where no field call wrote there.

    The file of figures, summary.json, is what tells a field call's folder from another.
    """
    folder = Path(folder)
    if not (folder / "summary.json").is_file():
        return []
    surfaces = sorted((folder / "surfaces").glob("*.tif"))
    rates = sorted(path for kind in ("*.gpkg", "*.shp", "*.geojson", "*.zip")
                   for path in (folder / "rates").glob(kind))
    orders = sorted((folder / "rates").glob(f"*{_ORDER}.pdf"))
    listed = [
        Output(tr("Report"), folder / "report.pdf"),
        Output(tr("Project"), folder / "project.qgz"),
        Output(tr("Zones and plans"), folder / "zones.gpkg"),
        *(Output(tr("Surface: {name}").format(name=_words(path)), path) for path in surfaces),
        Output(tr("Observations"), folder / "observations.gpkg"),
        *(Output(tr("Rates: {name}").format(name=_words(path)), path) for path in rates),
        *(Output(tr("Work order: {name}").format(name=path.stem[:-len(_ORDER)]), path)
          for path in orders),
        Output(tr("All figures"), folder / "summary.json"),
    ]
    return [output for output in listed if output.path.is_file()]
