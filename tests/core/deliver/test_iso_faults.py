"""Each fault is planted in a sound file; most of them other readers pass over."""
import re
from dataclasses import replace

import numpy as np
import pytest

from plugin.core.deliver.iso_faults import faults
from plugin.core.deliver.iso_reading import read_task
from plugin.core.deliver.iso_task import VERSIONS, elements_of
from plugin.core.deliver.task_of_rates import task_of_codes, task_of_polygons, task_of_values
from plugin.core.deliver.xml_text import Element
from plugin.core.problems import InputProblem
from tests.core.deliver.small_tasks import CELLS, EXTENT, PLACE, job

NAME = "GRD00000"


def grid_task(version="4.3", make=task_of_values):
    file = make(job(version), PLACE, CELLS)
    return elements_of(file), {NAME: file.grid.content}


def changed(root, tag, number=0, *, drop=None, children=None, **attributes):
    """The tree with the number-th element of a tag changed."""
    target = [element for element in root.walk() if element.tag == tag][number]

    def copy(element):
        if element is not target:
            return replace(element, children=tuple(map(copy, element.children)))
        given = {**element.attributes, **attributes}
        given.pop(drop, None)
        return Element(tag, given, element.children if children is None
                       else tuple(children(element.children)))
    return copy(root)


@pytest.mark.parametrize("version", VERSIONS)
def test_sound_files_have_no_fault(version):
    assert faults(elements_of(task_of_polygons(job(version))), {}, EXTENT) == []
    for make in (task_of_values, task_of_codes):
        assert faults(*grid_task(version, make), EXTENT) == []


def swapped(root):
    def swap(element):
        given = dict(element.attributes)
        if element.tag == "PNT":
            given["C"], given["D"] = given["D"], given["C"]
        return Element(element.tag, given, tuple(map(swap, element.children)))
    return swap(root)


FAULTS = {
    "reference to an absent part-field": (lambda root: changed(root, "TSK", E="PFD2"),
                                          "TSK names PFD2, which is not there"),
    "reference to an absent presentation": (lambda root: changed(root, "PDV", E="VPN9"),
                                            "PDV names VPN9"),
    "one id twice": (lambda root: changed(root, "FRM", A="CTR1"), "CTR1 is the id of 2"),
    "duplicate zone code": (lambda root: changed(root, "TZN", 3, A="2"),
                            "zone code 2 stands for 2 zones"),
    "code beyond 254": (lambda root: changed(root, "TZN", 3, A="255"), "code 255 is not between"),
    "default zone absent": (lambda root: changed(root, "TSK", H="9"), "zone for default, 9"),
    "lost zone absent": (lambda root: changed(root, "TSK", drop="I"), "lost position, None"),
    "outside zone absent": (lambda root: changed(root, "TSK", J="9"), "outside the field, 9"),
    "other set points": (lambda root: changed(root, "PDV", 3, A="0006"), "do not all carry"),
    "value beyond 32 bits": (lambda root: changed(root, "PDV", 3, B="3000000000"), "beyond 32"),
    "open ring": (lambda root: changed(root, "LSG", 1, children=lambda points: points[:-1]),
                  "a ring is not closed"),
    "hole typed exterior": (lambda root: changed(root, "LSG", 2, A="1"),
                            "hole is written as an outer ring"),
    "exterior typed hole": (lambda root: changed(root, "LSG", 1, A="2"), "begin with its outer"),
    "hole without a polygon around it": (
        lambda root: changed(root, "PLN", 2, children=lambda _: [
            *[polygon for polygon in root.walk() if polygon.tag == "PLN"][2].children,
            Element("LSG", {"A": "2"}, [line for line in root.walk()
                                        if line.tag == "LSG"][2].children)]),
        "a hole lies in no outer ring"),
    "axes swapped": (swapped, "lies outside the field"),
    "one point astray": (lambda root: changed(root, "PNT", 7, D="-93.6"), "lies outside the field"),
    "another root": (lambda root: Element("Tasks"), "its root is Tasks")}


@pytest.mark.parametrize("plant,words", FAULTS.values(), ids=FAULTS)
def test_a_fault_of_polygons_is_found(plant, words):
    found = faults(plant(elements_of(task_of_polygons(job()))), {}, EXTENT)
    assert found and words in found[0]


GRID_FAULTS = {
    "grid's zone absent": (dict(J="9"), None, "values belong to zone 9, which is not there"),
    "grid's zone left out": (dict(drop="J"), None, "values belong to zone None"),
    "length wrong": (dict(H="81"), None, "take 80 bytes; the grid file has 80, and the .* says 81"),
    "file too short": ({}, lambda content: content[:-4], "the grid file has 76"),
    "file missing": (dict(G="GRD00001"), None, "grid file GRD00001 is not there"),
    "columns and rows swapped": (dict(E="4", F="5"), None, "is not that of the field"),
    "axes swapped": (dict(A="-93.5", B="42"), None, "is not that of the field"),
    "cells too large": (dict(C="0.0004"), None, "is not that of the field")}


@pytest.mark.parametrize("change,content,words", GRID_FAULTS.values(), ids=GRID_FAULTS)
def test_a_fault_of_a_grid_is_found(change, content, words):
    root, grids = grid_task()
    if content:
        grids = {NAME: content(grids[NAME])}
    found = faults(changed(root, "GRD", **change), grids, EXTENT)
    assert len(found) == 1 and re.search(words, found[0])


def test_a_cell_of_an_absent_zone_is_found():
    root, grids = grid_task(make=task_of_codes)
    strange = bytes([7]) + grids[NAME][1:]
    assert faults(root, {NAME: strange}, EXTENT) == [
        "grid cells hold zone code 7, which is not there"]


@pytest.mark.parametrize("version", VERSIONS)
def test_what_was_written_is_read(version):
    task = read_task(elements_of(task_of_polygons(job(version))), {})
    assert [(zone.name, zone.ddi, zone.raw) for zone in (task.outside, task.lost)] == [
        ("Outside the field", 11, 0), ("Position lost, no zone", 11, 7400)]
    assert task.default is task.lost and task.area_m2 == 9937
    assert [len(zone.polygons) for zone in task.drawn] == ([1, 2] if version == "4.3" else [1] * 3)
    assert [ring.shape for ring in task.drawn[0].polygons[0]] == [(5, 2), (5, 2)]
    assert task.drawn[0].polygons[0][0][0] == pytest.approx((-93.5, 42.0))


@pytest.mark.parametrize("make", [task_of_values, task_of_codes])
def test_cells_are_read_as_raw_values_whatever_the_kind_of_grid(make):
    task = read_task(*grid_task(make=make))
    assert np.array_equal(task.cells, np.array([8000, 6800, 0])[CELLS])
    assert task.place == PLACE and task.drawn == []


def test_a_grid_of_an_unknown_type_is_refused():
    root, grids = grid_task()
    with pytest.raises(InputProblem, match="unknown type 3"):
        read_task(changed(root, "GRD", I="3"), grids)
