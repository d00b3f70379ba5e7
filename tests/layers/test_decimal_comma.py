"""Rate files written where the locale has a decimal comma."""
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from plugin.core.deliver.rate_formats import FORMATS

ROOT = Path(__file__).resolve().parents[2]
# A locale of numbers alone, and the signs it is written in, as localedef reads them: so that no
# package of locales need be there.
SOURCE = """escape_char /
comment_char %
LC_NUMERIC
decimal_point "<U002C>"
thousands_sep "<U002E>"
grouping 3;3
END LC_NUMERIC
"""
SIGNS = "\n".join(["<code_set_name> \"ASCII\"", "<comment_char> %", "<escape_char> /", "CHARMAP",
                   *(f"<U{number:04X}> /x{number:02x} sign" for number in range(128)),
                   "END CHARMAP", ""])
WRITE = """
import locale, sys
from pathlib import Path
from qgis.PyQt.QtCore import QLocale
from plugin.core.deliver.rate_formats import FORMATS
from plugin.layers.rate_files import check_rates, write_rates
from plugin.layers.task_files import check_task, write_task
from tests.layers.small_zones import settings, zones_at_place
folder, wanted = Path(sys.argv[1]), sys.argv[2]
QLocale.setDefault(QLocale("de_DE" if wanted == "," else "C"))
def run(step, *given):
    # each time anew: libraries that QGIS and GDAL load put numbers back to "C"
    locale.setlocale(locale.LC_ALL, "")
    assert locale.localeconv()["decimal_point"] == wanted
    return step(*given)
zones = run(zones_at_place, "south west", "cm")
for one in FORMATS:
    path = folder / f"r{one.ending}"
    if one.kind == "vector":
        run(write_rates, path, one, zones)
        run(check_rates, path, one, zones)
    else:
        run(write_task, path, one.kind, zones, settings())
        run(check_task, path, one, zones, settings())
"""


@pytest.fixture
def locales(tmp_path):
    """A folder for LOCPATH with the locale `comma`, made on the spot by the C library's tool."""
    folder = tmp_path / "locales"
    folder.mkdir()
    (tmp_path / "source").write_text(SOURCE, "ascii")
    (tmp_path / "signs").write_text(SIGNS, "ascii")
    # it warns of every category but that of numbers, and writes what it has
    subprocess.run(["localedef", "--quiet", "--force", "--no-archive", "-i", "./source", "-f",
                    "./signs", str(folder / "comma")], cwd=tmp_path)
    assert (folder / "comma" / "LC_NUMERIC").is_file()
    return folder


def test_a_decimal_comma_changes_no_byte_of_a_file(tmp_path, locales):
    inherited = {name: value for name, value in os.environ.items() if not name.startswith("LC_")}
    for name, point in (("C", "."), ("comma", ",")):
        (tmp_path / name).mkdir()
        subprocess.run(
            [sys.executable, "-c", WRITE, str(tmp_path / name), point], check=True, cwd=ROOT,
            env={**inherited, "LANG": "C", "LC_NUMERIC": name, "LOCPATH": str(locales)})
    for one in FORMATS:
        for ending in ([".shp", ".dbf", ".prj", ".cpg"] if one.name == "Shapefile"
                       else [one.ending]):
            this, that = (tmp_path / name / f"r{ending}" for name in ("C", "comma"))
            if ending.endswith(".zip"):
                this, that = map(zipfile.ZipFile, (this, that))
                assert {each: this.read(each) for each in this.namelist()} == {
                    each: that.read(each) for each in that.namelist()}
            elif ending != ".gpkg":  # it holds the time of writing; it was read back above
                assert this.read_bytes() == that.read_bytes()
