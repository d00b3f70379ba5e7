import numpy as np
import pytest

from plugin.core.grid import Grid
from plugin.core.zone.statistics import zone_map_of
from plugin.core.zone.workable import radius_of_width, workable_zones

GRID = Grid(0.0, 60.0, 5.0, 12, 12)
WHOLE = np.ones((12, 12))


def made(labels, titles=("poor", "good")):
    return zone_map_of("stand", "plants/ac", GRID, WHOLE, labels, labels * 10.0, list(titles))


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
    found = workable_zones(made(labels), clean.labels * 10.0, smooth_radius_cells=1.5,
                           smallest_area_m2=0.0)
    assert (found.labels == clean.labels).all()
    assert [(zone.title, zone.area_m2, zone.mean) for zone in found.zones] == [
        ("poor", 1800.0, 0.0), ("good", 1800.0, 10.0)]


def test_a_patch_below_the_smallest_area_joins_what_surrounds_it():
    labels = np.zeros((12, 12), int)
    labels[4:8, 4:8] = 1  # 16 cells of 25 m2
    for smallest, zones in ((400.0, 2), (400.1, 1)):
        found = workable_zones(made(labels), labels * 10.0, smooth_radius_cells=0.0,
                               smallest_area_m2=smallest)
        assert len(found.zones) == zones
        assert sum(zone.area_m2 for zone in found.zones) == 3600.0


def test_zones_are_numbered_anew_and_take_their_figures_from_the_values():
    labels = np.zeros((12, 12), int)
    labels[:, 4:], labels[0, 0], labels[:, 8:] = 1, 1, 2
    values = np.where(labels == 2, 7.0, 3.0)
    found = workable_zones(made(labels, ("low", "middle", "high")), values,
                           smooth_radius_cells=0.0, smallest_area_m2=100.0)
    assert [zone.label for zone in found.zones] == list(range(len(found.zones)))
    assert {zone.title: zone.mean for zone in found.zones} == {
        "low": 3.0, "middle": 3.0, "high": 7.0}
