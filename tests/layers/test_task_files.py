import re
import zipfile

import numpy as np
import pytest

from plugin.core.deliver.degree_grid import DegreeGrid
from plugin.core.deliver.rate_formats import FORMATS
from plugin.core.problems import InputProblem
from plugin.layers.task_files import check_task, read_task_file, write_task
from plugin.layers.xml_elements import read_elements
from tests.layers.small_zones import settings, zones_at_place

BY_KIND = {one.kind: one for one in FORMATS if one.kind != "vector"}
XML, GRID = "TASKDATA/TASKDATA.XML", "TASKDATA/GRD00000.bin"


def packed(tmp_path, kind, zones=None, **options):
    """A written task file, and what checks it."""
    path = tmp_path / f"{kind}.zip"
    zones, chosen = zones or zones_at_place(), settings(**options)
    write_task(path, kind, zones, chosen)
    return path, lambda: check_task(path, BY_KIND[kind], zones, chosen)


def repacked(path, **changes):
    """Change members of a zip: xml=function of text, grid=function of bytes or None to drop it."""
    with zipfile.ZipFile(path) as old:
        members = {name: old.read(name) for name in old.namelist()}
    if "xml" in changes:
        members[XML] = changes["xml"](members[XML].decode()).encode()
    if "grid" in changes:
        members[GRID] = changes["grid"](members[GRID])
    with zipfile.ZipFile(path, "w") as new:
        for name, content in members.items():
            if content is not None:
                new.writestr(name, content)


@pytest.mark.parametrize("version", ["3.3", "4.3"])
@pytest.mark.parametrize("unit", ["seeds/ac", "cm", "gal/ac"])
@pytest.mark.parametrize("kind", BY_KIND)
def test_a_sound_file_reads_back_as_its_zones(tmp_path, kind, unit, version):
    zones = zones_at_place(unit=unit)
    path, check = packed(tmp_path, kind, zones, version=version)
    back = check()
    assert zipfile.ZipFile(path).namelist() == [XML] + ([] if kind == "zones" else [GRID])
    steps = {"seeds/ac": 4.0468564224, "cm": 0.1, "gal/ac": 1.069e-5}[unit]
    assert back.step == pytest.approx(steps, rel=1e-3) and back.furthest <= back.step / 2
    # 400 m by 300 m; grids of 5 m count cells by their middles
    assert back.area_m2 == pytest.approx(120_000, rel=1e-6 if kind == "zones" else 0.01)
    wanted = sum(zone.area_m2 * zone.rate for zone in zones.meant())
    assert back.total == pytest.approx(wanted, rel=1e-3 if kind == "zones" else 0.02)
    assert (back.polygons == 4) == (kind == "zones")


@pytest.mark.parametrize("place", ["north east", "south east", "south west"])
@pytest.mark.parametrize("kind", BY_KIND)
def test_every_quarter_of_the_earth_reads_back(tmp_path, place, kind):
    path, check = packed(tmp_path, kind, zones_at_place(place))
    check()
    root, _ = read_task_file(path)
    point = next(element for element in root.walk() if element.tag == "PNT")
    assert (float(point.attributes["C"]) > 0) == place.startswith("north")
    assert (float(point.attributes["D"]) > 0) == place.endswith("east")


FAULTS = {
    "dangling reference": ("zones", dict(xml=lambda text: text.replace('E="PFD1"', 'E="PFD8"')),
                           "PFD8, which is not there"),
    "absent zone": ("zones", dict(xml=lambda text: text.replace('J="0"', 'J="99"')),
                    "outside the field, 99, is not there"),
    "duplicate code": ("zones", dict(xml=lambda text: text.replace('TZN A="3"', 'TZN A="2"')),
                       "code 2 stands for 2 zones"),
    "open ring": ("zones", dict(xml=lambda text: re.sub(r"<PNT[^>]*/>\s*</LSG>", "</LSG>", text)),
                  "ring is not closed"),
    "hole as exterior": ("zones", dict(xml=lambda text: text.replace('LSG A="2"', 'LSG A="1"')),
                         "hole is written as an outer ring"),
    "axes swapped": ("zones", dict(xml=lambda text: re.sub(r'C="(\S+)" D="(\S+)"/>\n', lambda at:
                                                           f'C="{at[2]}" D="{at[1]}"/>\n', text)),
                     "outside the field"),
    "another rate": ("zones", dict(xml=lambda text: text.replace('B="7907"', 'B="7908"')),
                     "a rate of 32002.5.* in .*zone 1 instead of 32000"),
    "rates of two zones changed over": (
        "zones", dict(xml=lambda text: text.replace('B="7907"', 'B="X"').replace(
            'B="6795"', 'B="7907"').replace('B="X"', 'B="6795"')), "instead of 32000"),
    "another identifier": ("zones", dict(xml=lambda text: text.replace("000B", "0006")),
                           r"identifiers \[6\] instead of 11"),
    "another rate outside": ("values", dict(xml=lambda text: text.replace(
        'B="0" E="VPN1"', 'B="5" E="VPN1"', 1)), "20.2343 seeds/ac for Outside the field"),
    "polygon moved": ("zones", dict(xml=lambda text: re.sub(
        r'(<TZN A="2"(?:.|\n)*?<PNT A="2" C=")(\S+)"', lambda at:
        f'{at[1]}{float(at[2]) - 1e-4:.9f}"', text, count=1)), "outside the field|m2 in"),
    "rows upside down": ("values", dict(grid=lambda content: upside_down(content)),
                         "rates outside the field|in [0-9]+ of [0-9]+ cells"),
    "a rate far outside": ("values", dict(grid=lambda content: (7907).to_bytes(4, "little")
                                          + content[4:]), "rates outside the field"),
    "columns mirrored": ("values", dict(grid=lambda content: mirrored(content)),
                         "rates outside the field|in [0-9]+ of [0-9]+ cells"),
    "big-endian": ("values", dict(grid=lambda content: np.frombuffer(content, ">i4").astype(
        "<i4").tobytes()), "cells"),
    "rows and columns swapped": ("values", dict(xml=lambda text: re.sub(
        r'E="(\d+)" F="(\d+)"', r'E="\2" F="\1"', text)), "is not that of the field"),
    "too short": ("values", dict(grid=lambda content: content[:-4]), "the grid file has"),
    "length wrong in the file": ("values", dict(xml=lambda text: re.sub(
        'H="[0-9]+" I="2"', 'H="4" I="2"', text)), "says 4"),
    "no grid": ("values", dict(grid=lambda content: None), "GRD00000 is not there"),
    "codes upside down": ("codes", dict(grid=lambda content: upside_down(content, "u1")),
                          "rates outside the field|in [0-9]+ of [0-9]+ cells"),
    "a strange code": ("codes", dict(grid=lambda content: b"\x63" + content[1:]), "zone code 99"),
    "attribute missing": ("zones", dict(xml=lambda text: text.replace(' H="1"', "")),
                          "zone for default, None"),
    "no rate": ("zones", dict(xml=lambda text: text.replace('B="7907"', 'B="fast"')),
                "cannot be read back"),
    "broken XML": ("zones", dict(xml=lambda text: text[:-30]), "line [0-9]+")}


def upside_down(content, kind="<i4"):
    return shaped(content, kind)[::-1].tobytes()


def mirrored(content):
    return shaped(content, "<i4")[:, ::-1].tobytes()


def shaped(content, kind):
    """The cells (rows, columns) of the grid that packed() makes of north-western zones."""
    place = DegreeGrid.covering(*zones_at_place().extent, cell_m=settings().cell_m,
                                most_cells=10**5)
    return np.frombuffer(content, kind).reshape(place.shape)


@pytest.mark.parametrize("kind,change,words", FAULTS.values(), ids=FAULTS)
def test_a_broken_file_is_never_handed_over(tmp_path, kind, change, words):
    path, check = packed(tmp_path, kind)
    check()
    repacked(path, **change)
    with pytest.raises(InputProblem, match=words):
        check()


def test_a_zip_without_the_folder_is_refused(tmp_path):
    path = tmp_path / "a.zip"
    with zipfile.ZipFile(path, "w") as empty:
        empty.writestr("TASKDATA.XML", "<a/>")
    with pytest.raises(InputProblem, match="holds no TASKDATA/TASKDATA.XML"):
        read_task_file(path)
    path.write_bytes(b"no zip")
    with pytest.raises(InputProblem, match="holds no TASKDATA/TASKDATA.XML"):
        read_task_file(path)


def test_elements_are_read_with_their_attributes_in_their_place():
    root = read_elements('<a x="1 &amp; “ü”"><b/>\n<c><b y="&#10;"/></c></a>'.encode())
    assert (root.tag, root.attributes) == ("a", {"x": "1 & “ü”"})
    assert [child.tag for child in root.children] == ["b", "c"]
    assert root.children[1].children[0].attributes == {"y": "\n"}
    with pytest.raises(InputProblem, match="line 1"):
        read_elements(b"")


def test_more_cells_than_allowed_are_refused(tmp_path):
    with pytest.raises(InputProblem, match="above the limit of 1,000"):
        packed(tmp_path, "values", most_cells=1000)


def test_cells_larger_than_the_field_are_refused(tmp_path):
    _, check = packed(tmp_path, "values", cell_m=1000.0)
    with pytest.raises(InputProblem, match="No cell of 1000 m has its middle in the field|cells"):
        check()


