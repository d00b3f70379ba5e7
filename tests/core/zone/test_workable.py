from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage

from plugin.core.grid import Grid
from plugin.core.problems import InputProblem
from plugin.core.zone.patches import patches, shared_borders
from plugin.core.zone.statistics import zone_map_of
from plugin.core.zone.window import opened
from plugin.core.zone.workable import (
    HEADLAND,
    WorkableShape,
    radius_of_width,
    workable_classes,
)

OUTSIDE = -1
GRID = Grid(0.0, 60.0, 5.0, 12, 12)
WHOLE = np.ones((12, 12))


def made(labels, titles=("poor", "good")):
    return zone_map_of("stand", "plants/ac", GRID, WHOLE, labels, labels * 10.0, list(titles))


def shaped(labels, values, titles=("poor", "good"), **asked):
    classes = workable_classes(labels, WHOLE, cell_m=GRID.cell_m, shape=WorkableShape(**asked))
    return zone_map_of("stand", "plants/ac", GRID, WHOLE, classes, values, [*titles, HEADLAND])


@pytest.mark.parametrize(("width_m", "cell_m", "radius"), [
    (12, 5, 1.2), (30, 5, 3.0), (5.1, 5, 0.51), (5, 5, 0.0), (3, 5, 0.0), (0, 5, 0.0)])
def test_the_disk_is_as_wide_as_the_machine_and_none_where_it_is_no_wider_than_a_cell(
        width_m, cell_m, radius):
    assert radius_of_width(width_m, cell_m) == pytest.approx(radius, rel=1e-12)


def test_a_speck_is_smoothed_away_and_the_halves_stay():
    labels = np.zeros((12, 12), int)
    labels[:, 6:] = 1
    clean = made(labels)
    labels[4, 2] = 1
    found = shaped(labels, clean.labels * 10.0, machine_width_m=15.0)
    assert (found.labels == clean.labels).all()
    assert [(zone.title, zone.area_m2, zone.mean) for zone in found.zones] == [
        ("poor", 1800.0, 0.0), ("good", 1800.0, 10.0)]


def test_a_patch_below_the_smallest_area_joins_what_surrounds_it():
    labels = np.zeros((12, 12), int)
    labels[4:8, 4:8] = 1  # 16 cells of 25 m2
    for smallest, zones in ((400.0, 2), (400.1, 1)):
        found = shaped(labels, labels * 10.0, smallest_area_m2=smallest)
        assert len(found.zones) == zones
        assert sum(zone.area_m2 for zone in found.zones) == 3600.0


def test_zones_are_numbered_anew_and_take_their_figures_from_the_values():
    labels = np.zeros((12, 12), int)
    labels[:, 4:], labels[0, 0], labels[:, 8:] = 1, 1, 2
    values = np.where(labels == 2, 7.0, 3.0)
    found = shaped(labels, values, ("low", "middle", "high"), smallest_area_m2=100.0)
    assert [zone.label for zone in found.zones] == list(range(len(found.zones)))
    assert {zone.title: zone.mean for zone in found.zones} == {
        "low": 3.0, "middle": 3.0, "high": 7.0}


FIELDS = st.integers(0, 10**6)
SHAPES = st.builds(
    WorkableShape, machine_width_m=st.sampled_from([0.0, 12.0, 20.0]),
    heading_deg=st.one_of(st.none(), st.floats(0, 180)),
    smallest_area_m2=st.sampled_from([0.0, 200.0, 900.0]),
    smallest_width_m=st.sampled_from([0.0, 15.0, 25.0]),
    smallest_length_m=st.sampled_from([0.0, 35.0]),
    headland_m=st.sampled_from([0.0, 9.0]), ordered=st.booleans())


def random_field(seed):
    """Classes of a rough surface over an oval field, and the share of each cell in it."""
    generator = np.random.default_rng(seed)
    row, column = np.mgrid[:22, :20]
    rough = ndimage.gaussian_filter(generator.normal(size=row.shape), generator.uniform(0.3, 2))
    far = (row - 10.5)**2 / 11**2 + (column - 9.5)**2 / 10**2
    inside = np.clip((generator.uniform(0.8, 1.3) - far) * 4, 0.0, 1.0)
    limits = np.quantile(rough, [0.3, 0.6, 0.8])
    return np.where(inside > 0, np.digitize(rough, limits), OUTSIDE), inside


@settings(max_examples=60)
@given(FIELDS, SHAPES)
def test_every_zone_is_large_and_wide_enough_where_the_field_allows(seed, shape):
    classes, inside = random_field(seed)
    found = workable_classes(classes, inside, cell_m=5.0, shape=shape)
    assert np.array_equal(found == OUTSIDE, classes == OUTSIDE)
    headland = classes.max() + 1
    inner = np.where(found == headland, OUTSIDE, found)
    assert set(np.unique(inner)) <= set(np.unique(classes))
    assert bool(shape.headland_m) == (found == headland).any()
    window = shape.smallest_window(5.0)
    if window is not None:
        whole = np.where(inner == OUTSIDE, OUTSIDE, 0)
        assert not (opened(whole, window) & ~opened(inner, window)).any()
    numbers, count = patches(inner)
    areas = np.bincount(numbers[numbers != OUTSIDE], 25 * inside[numbers != OUTSIDE])
    alone = np.diff(shared_borders(numbers, count).indptr) == 0
    assert ((areas >= shape.smallest_area_m2) | alone).all()
    if shape.ordered:
        assert (found >= classes).all()


@settings(max_examples=30)
@given(FIELDS, SHAPES)
def test_what_is_workable_stays_as_it_is_but_for_smoothing(seed, shape):
    shape = replace(shape, machine_width_m=0.0, headland_m=0.0)
    classes, inside = random_field(seed)
    once = workable_classes(classes, inside, cell_m=5.0, shape=shape)
    assert np.array_equal(workable_classes(once, inside, cell_m=5.0, shape=shape), once)


def test_a_headland_runs_along_the_edge_and_is_a_class_of_its_own():
    found = workable_classes(np.zeros((12, 12), int), WHOLE, cell_m=5.0,
                             shape=WorkableShape(headland_m=10.0))
    assert (found == 1).sum() == 144 - 64 and not found[2:10, 2:10].any()
    with pytest.raises(InputProblem, match="Headlands of 40 m leave nothing of the field"):
        workable_classes(np.zeros((12, 12), int), WHOLE, cell_m=5.0,
                         shape=WorkableShape(headland_m=40.0))


def test_a_small_high_patch_is_enlarged_where_classes_are_ranks():
    labels = np.zeros((12, 12), int)
    labels[5, 5] = 2
    shape = WorkableShape(smallest_area_m2=300.0)  # twelve cells
    assert not workable_classes(labels, WHOLE, cell_m=5.0, shape=shape).any()
    found = workable_classes(labels, WHOLE, cell_m=5.0, shape=replace(shape, ordered=True))
    assert (found == 2).sum() >= 12 and found[5, 5] == 2


@pytest.mark.parametrize("name", ["machine_width_m", "smallest_area_m2", "smallest_width_m",
                                  "smallest_length_m", "headland_m"])
@pytest.mark.parametrize("value", [-1.0, float("nan"), float("inf")])
def test_a_shape_that_cannot_be_is_refused(name, value):
    with pytest.raises(InputProblem, match=f"{name} is {value:g}; enter 0 or more"):
        WorkableShape(**{name: value})


@pytest.mark.parametrize(("width_m", "cells"), [(0, 1), (5, 1), (5.1, 3), (15, 3), (15.1, 5)])
def test_the_smallest_window_is_at_least_as_wide_as_asked_for(width_m, cells):
    window = WorkableShape(smallest_width_m=width_m, heading_deg=0.0).smallest_window(5.0)
    assert (1 if window is None else len(window.spans)) == cells
