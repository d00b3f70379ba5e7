import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import numpy as np
import pytest

from plugin.core.deliver.iso_grid import grid_cells
from plugin.core.deliver.iso_task import VERSIONS, elements_of
from plugin.core.deliver.task_of_rates import task_of_codes, task_of_polygons, task_of_values
from plugin.core.deliver.xml_text import xml_text
from plugin.core.problems import InputProblem
from tests.core.deliver.iso_schema import breaches
from tests.core.deliver.small_tasks import CELLS, FIELD, NAMES, PLACE, WEST, box, job


def written(file):
    """The file as another parser reads it."""
    return ElementTree.fromstring(xml_text(elements_of(file)).encode())


MAKERS = {"zones": task_of_polygons, "values": lambda one: task_of_values(one, PLACE, CELLS),
          "codes": lambda one: task_of_codes(one, PLACE, CELLS)}


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("kind", MAKERS)
@pytest.mark.parametrize("unit,rate", [("seeds/ac", 32_000), ("in", 14), ("kg/ha", 150),
                                       ("gal/ac", 20), ("ton/ac", 2)])
def test_every_file_keeps_the_schemas_facts(version, kind, unit, rate):
    names = replace(NAMES, field='"Ö" & <' + "ü" * 40, task="\x00line\nbreak", customer="")
    zones = (("West", rate, (WEST,)), ("East", rate / 3, (WEST,)))
    root = written(MAKERS[kind](job(version, unit=unit, names=names, zones=zones, lost=rate)))
    assert breaches(root, version) == []
    assert root.find("PFD").attrib["C"] == '"Ö" & <' + "ü" * 25  # 32 characters
    assert root.find("TSK").attrib["B"] == "line break"


def test_the_schemas_facts_catch_breaches():
    root = written(task_of_polygons(job()))
    for path, name, value in ((".//TZN", "A", "255"), (".//PNT", "C", "142"),
                              (".//PNT", "D", "-93,5"), (".//VPN", "C", "9e-05"),
                              (".//PDV", "A", "B"), (".//PDV", "B", "3000000000"),
                              (".//TSK", "G", "9"), (".//CTR", "A", "CUST1"),
                              (".//FRM", "Z", "1"), (".//PNT", "C", "42.1234567891")):
        root = written(task_of_polygons(job()))
        root.find(path).set(name, value)
        assert len(breaches(root, "4.3")) == 1, (path, name)
    del root.find("TSK").attrib["G"]
    assert "TSK lacks G" in breaches(root, "4.3")


def test_zones_carry_name_raw_value_and_rings_north_before_east():
    root = written(task_of_polygons(job()))
    task = root.find("TSK")
    assert [(zone.attrib["A"], zone.attrib["B"], zone.find("PDV").attrib["A"],
             zone.find("PDV").attrib["B"]) for zone in task.iter("TZN")] == [
        ("0", "Outside the field", "000B", "0"), ("1", "Position lost, no zone", "000B", "7400"),
        ("2", "West", "000B", "8000"), ("3", "East", "000B", "6800")]
    assert [task.attrib[letter] for letter in "HIJ"] == ["1", "1", "0"]
    west = task.findall("TZN")[2].find("PLN")
    assert [line.attrib["A"] for line in west] == ["1", "2"]
    assert west[0][2].attrib == {"A": "2", "C": "42.0008", "D": "-93.49919"}
    assert [line[0].attrib == line[-1].attrib for line in west] == [True, True]
    assert root.find("PFD").attrib["D"] == "9937" and root.find("VPN").attrib["C"] == "10"


def test_parts_are_polygons_of_one_zone_in_version_4_and_zones_of_their_own_in_version_3():
    counts = {version: [len(zone.findall("PLN")) for zone in written(
        task_of_polygons(job(version))).iter("TZN")] for version in VERSIONS}
    assert counts == {"4.3": [0, 0, 1, 2], "3.3": [0, 0, 1, 1, 1]}
    raw = [zone.find("PDV").attrib["B"] for zone in written(task_of_polygons(job("3.3"))).iter(
        "TZN")]
    assert raw == ["0", "7400", "8000", "6800", "6800"]


def test_a_split_field_is_one_polygon_in_version_3_and_several_in_version_4():
    split = FIELD + ((box(-93.49, 42.0, -93.48, 42.001),),)
    for version, shape in (("3.3", [2]), ("4.3", [1, 1])):
        field = written(task_of_polygons(job(version, boundary=split))).find("PFD")
        assert [len(polygon) for polygon in field] == shape


def test_a_grid_of_values_holds_the_zones_rates_and_the_rate_outside():
    file = task_of_values(job(outside=1000.0), PLACE, CELLS)
    cells = grid_cells(file.grid.content, 2, 4, 5)
    assert np.array_equal(cells, np.array([8000, 6800, 100])[CELLS])
    assert written(file).find("TSK/GRD").attrib == {
        "A": "42", "B": "-93.5", "C": "0.0002", "D": "0.00027", "E": "5", "F": "4",
        "G": "GRD00000", "H": "80", "I": "2", "J": "2"}


def test_a_grid_of_codes_names_the_zones_and_has_no_zone_of_its_own():
    file = task_of_codes(job(), PLACE, CELLS)
    assert list(file.grid.content) == [{-1: 0, 0: 2, 1: 3}[cell] for cell in CELLS.ravel()]
    grid = written(file).find("TSK/GRD").attrib
    assert (grid["H"], grid["I"], "J" in grid) == ("20", "1", False)


@pytest.mark.parametrize("kind", ["zones", "codes"])
def test_more_zones_than_codes_are_refused_and_as_many_are_taken(kind):
    def file(count):
        zones = tuple((str(number), 1.0, (WEST,)) for number in range(count))
        return MAKERS[kind](job(zones=zones))
    assert len(file(253).zones) == 255
    with pytest.raises(InputProblem, match="254 zones are more than the 253 .* grid of rates"):
        file(254)


def test_a_rate_beyond_32_bits_is_refused():
    with pytest.raises(InputProblem, match="beyond .*identifier 11"):
        task_of_values(job(zones=(("A", 1e11, (WEST,)), ("B", 1.0, (WEST,)))), PLACE, CELLS)
