from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.affinity import translate

from plugin.core.plan import Plan, PlanZone
from plugin.core.zone.statistics import zone_map_of
from plugin.core.zone.table import layer_figures
from plugin.core.zone.workable import WorkableShape
from plugin.layers.boundary import grid_over, inside_shares
from plugin.layers.vectors import read_vector, write_vector
from plugin.layers.zone_layers import figure_columns, mask_layer, plan_layer, zone_layer
from tests.layers.small_zones import any_field

BOUNDARY = translate(shapely.Polygon(
    [(3, 4), (197, 1), (188, 193), (101, 151), (11, 181)],
    [[(60, 60), (92, 63), (85, 91), (61, 88)]]), 500_000, 4_400_000)
WKB = shapely.to_wkb(BOUNDARY)


@pytest.fixture(scope="module")
def zones():
    """Three zones, ragged and in several patches, over a field with a hole."""
    grid = grid_over(WKB, 7.0, "EPSG:32615")
    inside = inside_shares(WKB, grid)
    row, column = np.indices(grid.shape)
    values = np.sin(row / 3.0) + np.cos(column / 4.0)
    labels = np.where(inside > 0, np.digitize(values, [-0.5, 0.6]), -1)
    return zone_map_of("Stand", "plants/ac", grid, inside, labels, values, ["low", "mid", "high"])


@pytest.fixture(scope="module")
def shapes(zones):
    return [shapely.from_wkb(wkb) for wkb in zone_layer("z", zones, WKB).geometries]


def test_zones_fill_the_field_exactly(zones, shapes):
    assert all(shape.is_valid for shape in shapes)
    assert sum(shape.area for shape in shapes) == pytest.approx(BOUNDARY.area, rel=1e-9)  # rounding
    whole = shapely.union_all(shapes)
    # Cutting moves a corner by rounding alone, some 1e-9 m along a boundary of 0.8 km.
    assert whole.symmetric_difference(BOUNDARY).area < 1e-5
    for shape, zone in zip(shapes, zones.zones):
        assert shape.area == pytest.approx(zone.area_m2, rel=1e-9)


def test_zones_do_not_overlap_and_share_their_edges(shapes):
    for number, one in enumerate(shapes):
        for other in shapes[number + 1:]:
            assert one.intersection(other).area < 1e-6  # slivers of rounding at cut corners
    # Every vertex of one zone inside the field that lies on another is a vertex of that one.
    corners = [{point for part in shape.geoms for ring in (part.exterior, *part.interiors)
                for point in ring.coords} for shape in shapes]
    shared = 0
    for number, own in enumerate(corners):
        for other, theirs in enumerate(corners):
            if other == number:
                continue
            points = np.array(sorted(own - theirs))
            points = points[shapely.distance(shapely.points(points), BOUNDARY.boundary) > 1e-6]
            assert not (shapely.distance(shapely.points(points), shapes[other]) < 1e-6).any()
            shared += len(own & theirs)
    assert shared > 100


def test_the_table_of_zones_holds_their_figures(zones, tmp_path):
    write_vector(tmp_path / "z.gpkg", "GPKG", [zone_layer("zones", zones, WKB, title="Stand")])
    rows = read_vector(tmp_path / "z.gpkg")[1]
    assert [row["title"] for row in rows] == ["low", "mid", "high"]
    assert [row["zone"] for row in rows] == [0, 1, 2]
    for row, zone in zip(rows, zones.zones):
        assert row["area_m2"] == pytest.approx(zone.area_m2, rel=1e-9)
        assert (row["mean"], row["deviation"], row["unit"]) == (
            zone.mean, zone.standard_deviation, "plants/ac")


def test_without_a_boundary_whole_cells_are_drawn(zones):
    made = [shapely.from_wkb(wkb) for wkb in zone_layer("z", zones, None).geometries]
    cells = np.count_nonzero(zones.labels >= 0)
    assert sum(shape.area for shape in made) == pytest.approx(cells * 49, rel=1e-12)  # 7 m by 7 m


def test_a_mask_is_one_feature_cut_to_the_field_or_none(zones):
    made = mask_layer("unsure", zones.labels == 1, zones.grid, WKB, title="Hatched")
    assert made.rows == [["Hatched"]]
    assert shapely.from_wkb(made.geometries[0]).area == pytest.approx(
        zones.zones[1].area_m2, rel=1e-9)
    nothing = mask_layer("unsure", zones.labels > 5, zones.grid, WKB)
    assert nothing.geometries == [] and nothing.rows == []


def test_a_plan_is_drawn_with_its_money_and_further_figures_by_name(zones, tmp_path):
    figures = {"mean pan bottom": (12.5, "in")}
    plan = Plan(
        name="Tillage plan", rate_unit="in", area_unit="ac", currency="USD", zone_map=zones,
        zones=tuple(PlanZone(
            label=zone.label, action="till", rate=14.0 + zone.label, area=zone.area_m2 / 4046.86,
            gain_per_area=1.5, gain=2.5, gain_low=-1.0, gain_high=6.0, chance=0.75,
            figures=figures if zone.label else {}) for zone in zones.zones),
        settings={}, sources=(), cautions=(), gain=7.5, gain_low=0.0, gain_high=9.0)
    write_vector(tmp_path / "p.gpkg", "GPKG", [plan_layer(plan, WKB)])
    layer, rows = read_vector(tmp_path / "p.gpkg")
    assert layer.name == "Tillage plan"
    assert [row["zone"] for row in rows] == [1, 2, 3]
    assert rows[1] == {
        "zone": 2, "action": "till", "rate": 15.0, "rate_unit": "in", "rate_of": "",
        "area": plan.zones[1].area, "area_unit": "ac", "gain_area": 1.5, "gain": 2.5,
        "gain_low": -1.0, "gain_high": 6.0, "chance": 0.75, "currency": "USD",
        "mean_pan_bottom": 12.5}
    assert rows[0]["mean_pan_bottom"] is None
    areas = [shapely.from_wkb(wkb).area for wkb in layer.geometries]
    assert sum(areas) == pytest.approx(BOUNDARY.area, rel=1e-6)


SHAPES = st.builds(
    WorkableShape, smallest_area_m2=st.sampled_from([0.0, 150.0, 600.0]),
    smallest_width_m=st.sampled_from([0.0, 18.0]), headland_m=st.sampled_from([0.0, 0.0, 9.0]),
    heading_deg=st.one_of(st.none(), st.floats(0, 180)), ordered=st.booleans())


@settings(max_examples=25)
@given(st.integers(0, 10**6), SHAPES, st.sampled_from([0.0, 4.0, 12.0]))
def test_zones_of_any_field_fill_it_and_share_their_edges_exactly(seed, shape, deviation_m):
    wkb, zones = any_field(seed, shape)
    layer = zone_layer("z", zones, wkb, shape=shape, deviation_m=deviation_m)
    made, field = [shapely.from_wkb(one) for one in layer.geometries], shapely.from_wkb(wkb)
    assert bool(shapely.coverage_is_valid(made)) and all(shape.is_valid for shape in made)
    assert sum(shape.area for shape in made) == pytest.approx(field.area, rel=1e-6)
    assert shapely.union_all(made).symmetric_difference(field).area < 1e-6 * field.area
    assert all(part.exterior.is_ccw and not any(hole.is_ccw for hole in part.interiors)
               for shape in made for part in shape.geoms)
    for row, one in zip(layer.rows, made):
        # areas at such northings are good to 1e-9 m x 4,400,000 m x the extent, over the area
        assert row[2] == pytest.approx(one.area, rel=1e-9)
        if not deviation_m and not shape.smallest_area_m2:
            assert row[2] == pytest.approx(zones.zones[row[0]].area_m2, rel=1e-6)
    assert too_small(layer, made, shape) == []


def too_small(layer, made, shape):
    """Areas of polygons below the smallest that have a neighbour to join."""
    parts = [(row[0], row[1], part) for row, one in zip(layer.rows, made) for part in one.geoms
             if row[1] != "headland"]
    return [part.area for zone, _, part in parts if part.area < shape.smallest_area_m2 * (1 - 1e-6)
            and any(part.boundary.intersection(other.boundary).length > 1e-6
                    for neighbour, _, other in parts
                    if (neighbour > zone if shape.ordered else neighbour != zone))]


@pytest.mark.parametrize("rate_unit,whole", [("seeds/ac", True), ("in", False)])
def test_what_a_ditch_cuts_off_of_a_plans_zone_joins_no_shallower_one(rate_unit, whole):
    # zone 0 reaches 2 m across a ditch, in cells of 10 m, to where zone 1 lies
    field = shapely.box(0, 0, 100, 100).difference(shapely.box(45, -1, 48, 101))
    wkb = shapely.to_wkb(translate(field, 500_000, 4_400_000))
    grid = grid_over(wkb, 10.0, "EPSG:32615")
    labels = np.where(np.arange(10) < 5, 0, 1) + np.zeros((10, 1), int)
    zones = zone_map_of("z", "", grid, inside_shares(wkb, grid), labels, labels, ["a", "b"])
    deep, shallow = 14.0, 12.0
    plan = Plan(name="p", rate_unit=rate_unit, area_unit="ac", currency="USD", zone_map=zones,
                zones=tuple(PlanZone(label=zone.label, action="till", area=1.0, gain_per_area=0,
                                     gain=0, gain_low=0, gain_high=0, chance=1.0,
                                     rate=(deep, shallow)[zone.label]) for zone in zones.zones),
                settings={"smallest_zone": (0.1, "ac")}, sources=(), cautions=(), gain=0,
                gain_low=0, gain_high=0)
    parts = [len(shapely.from_wkb(one).geoms) for one in plan_layer(plan, wkb).geometries]
    # 2 m by 100 m hang together, larger than a cell: they stay
    assert parts == [2, 1]
    short = replace(plan, zone_map=zone_map_of(
        "z", "", grid, zones.inside, np.where(np.arange(10)[:, None] < 3, labels, 1), labels,
        ["a", "b"]))
    parts = [len(shapely.from_wkb(one).geoms) for one in plan_layer(short, wkb).geometries]
    assert parts == ([1, 2] if whole else [2, 2])


def test_figures_become_columns_whole_numbers_where_they_count(zones, tmp_path):
    figures = layer_figures(zones, zones.inside, standard_error=zones.inside,
                            sites_m=[[500_020, 4_400_020]])
    write_vector(tmp_path / "z.gpkg", "GPKG", [zone_layer(
        "z", zones, WKB, figures=figure_columns(figures, prefix="stand"))])
    layer, rows = read_vector(tmp_path / "z.gpkg")
    assert sum(row["stand_readings"] for row in rows) == 1
    for name in ("mean", "dev", "error", "explained"):
        assert all(isinstance(row[f"stand_{name}"], float) for row in rows)
    assert set(figure_columns(figures)) == {"error", "readings", "explained"}
