import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage
from shapely.affinity import translate

from plugin.core.plan import Plan, PlanZone
from plugin.core.zone.statistics import zone_map_of
from plugin.core.zone.table import layer_figures
from plugin.layers.boundary import grid_over, inside_shares
from plugin.layers.vectors import read_vector, write_vector
from plugin.layers.zone_layers import figure_columns, mask_layer, plan_layer, zone_layer

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
        "zone": 2, "action": "till", "rate": 15.0, "rate_unit": "in",
        "area": plan.zones[1].area, "area_unit": "ac", "gain_area": 1.5, "gain": 2.5,
        "gain_low": -1.0, "gain_high": 6.0, "chance": 0.75, "currency": "USD",
        "mean_pan_bottom": 12.5}
    assert rows[0]["mean_pan_bottom"] is None
    areas = [shapely.from_wkb(wkb).area for wkb in layer.geometries]
    assert sum(areas) == pytest.approx(BOUNDARY.area, rel=1e-6)


def blob_field(seed):
    """A boundary of two parts, one with a hole, and zones over it."""
    generator = np.random.default_rng(seed)
    corners = generator.uniform(0, 120, (7, 2))
    field = shapely.convex_hull(shapely.MultiPoint(corners)).buffer(8, quad_segs=2)
    hole = shapely.Point(generator.uniform(30, 90, 2)).buffer(generator.uniform(2, 15), quad_segs=3)
    field = field.difference(hole).union(shapely.Point(175, 60).buffer(20, quad_segs=2))
    wkb = shapely.to_wkb(translate(field, 500_000.17, 4_400_000.71))
    grid = grid_over(wkb, 6.0, "EPSG:32615")
    inside = inside_shares(wkb, grid)
    rough = ndimage.gaussian_filter(generator.normal(size=grid.shape), 1.5)
    labels = np.where(inside > 0, np.digitize(rough, np.quantile(rough, [0.4, 0.7])), -1)
    return wkb, zone_map_of("z", "", grid, inside, labels, rough, ["a", "b", "c"])


@settings(deadline=None, max_examples=25)  # a shared machine may be slow once
@given(st.integers(0, 10**6), st.sampled_from([0.0, 4.0, 12.0]))
def test_zones_of_any_field_fill_it_and_share_their_edges_exactly(seed, deviation_m):
    wkb, zones = blob_field(seed)
    layer = zone_layer("z", zones, wkb, deviation_m=deviation_m)
    made, field = [shapely.from_wkb(one) for one in layer.geometries], shapely.from_wkb(wkb)
    assert bool(shapely.coverage_is_valid(made)) and all(shape.is_valid for shape in made)
    assert sum(shape.area for shape in made) == pytest.approx(field.area, rel=1e-6)
    assert shapely.union_all(made).symmetric_difference(field).area < 1e-6 * field.area
    assert all(part.exterior.is_ccw and not any(hole.is_ccw for hole in part.interiors)
               for shape in made for part in shape.geoms)
    for row, shape in zip(layer.rows, made):
        # areas at such northings are good to 1e-9 m x 4,400,000 m x the extent, over the area
        assert row[2] == pytest.approx(shape.area, rel=1e-9)
        if not deviation_m:
            assert row[2] == pytest.approx(zones.zones[row[0]].area_m2, rel=1e-6)


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
