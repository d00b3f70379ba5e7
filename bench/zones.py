"""Zones by likeness beside general libraries, and zones made workable beside GDAL by hand.

Fuzzy c-means and k-means: 1,000,000 cells x 4 layers x 2 to 6 zones, from the same centres, STEPS
steps each, fuzzifier 2, double precision, THREADS threads. Peers are fuzzy-c-means and
scikit-fuzzy, scikit-learn and scipy's kmeans2; one that is missing is named. Workable zones:
1,000,000 cells in four classes are smoothed, widened, cleared of small patches, outlined,
straightened and cut to a field; by hand, GDAL polygonizes the classes and each small polygon is
merged into the neighbour that shares most border, as "eliminate selected polygons" of QGIS does,
and cut. Answers are compared before times are taken.
"""
import argparse
import contextlib
import io
import resource
import statistics
import sys
import time
from functools import partial

import numpy as np
from osgeo import gdal, ogr
from scipy import ndimage
from scipy.cluster.vq import kmeans2

from plugin.core.grid import Grid
from plugin.core.interpolate.threads import THREADS
from plugin.core.zone import fuzzy_c_means as ours
from plugin.core.zone.standardised import cloud_of
from plugin.core.zone.statistics import zone_map_of
from plugin.core.zone.workable import WorkableShape, workable_classes
from plugin.layers.boundary import inside_shares
from plugin.layers.strict_ogr import spatial_reference
from plugin.layers.vectors import area_of
from plugin.layers.zone_layers import zone_layer

STEPS = 20
SAME = 1e-6  # largest difference of centres, standard deviations


def cloud_and_centres(cells, layers, counts):
    generator = np.random.default_rng(5)
    middles = generator.normal(size=(layers, 5)) * 1.5
    points = middles[:, generator.integers(5, size=cells)] + generator.normal(size=(layers, cells))
    points = (points - points.mean(axis=1, keepdims=True)) / points.std(axis=1, keepdims=True)
    return points, {count: points[:, generator.choice(cells, count, replace=False)].T.copy()
                    for count in counts}


def fixed_steps(method, cloud, centres):
    """Take STEPS steps whatever they change."""
    before = ours.STILL, ours.MOST_STEPS
    ours.STILL, ours.MOST_STEPS = -1.0, STEPS
    try:
        return method(cloud, centres).centres
    finally:
        ours.STILL, ours.MOST_STEPS = before


def scikit_fuzzy(points, centres):
    """STEPS steps of its own; starts from the memberships of the centres, one step behind ours."""
    from skfuzzy import cmeans
    start = ours.memberships(cloud_of(points), centres)
    return cmeans(points, len(centres), 2.0, error=0.0, maxiter=STEPS, init=start)[0]


def fuzzy_c_means_package(points, centres):
    from fcmeans import FCM
    model = FCM(n_clusters=len(centres), m=2.0, max_iter=STEPS, error=1e-9, random_state=1)
    model.fit(points.T)  # draws its own start: time alone is comparable
    return None


def scikit_learn(points, centres):
    from sklearn.cluster import KMeans
    return KMeans(len(centres), init=centres, n_init=1, max_iter=STEPS, tol=0.0,
                  algorithm="lloyd").fit(points.T).cluster_centers_


def scipy_kmeans(points, centres):
    return kmeans2(points.T, centres, iter=STEPS, minit="matrix")[0]


def median_seconds(work, times):
    taken = []
    for _ in range(times):
        started = time.perf_counter()
        work()
        taken.append(time.perf_counter() - started)
    return statistics.median(taken)


def gathering(cells, counts, times):
    points, starts = cloud_and_centres(cells, 4, counts)
    print(f"\n{cells:,} cells x 4 layers, {STEPS} steps; peers with the same start, s and ratio")
    print(f"{'zones':>6} {'method':<14} {'ours s':>8}  peers")
    for count, centres in starts.items():
        for name, method, peers in (
                ("fuzzy c-means", ours.fuzzy_c_means,
                 (("fuzzy-c-means", fuzzy_c_means_package), ("scikit-fuzzy", scikit_fuzzy))),
                ("k-means", ours.k_means,
                 (("scikit-learn", scikit_learn), ("kmeans2", scipy_kmeans)))):
            mine = partial(fixed_steps, method, cloud_of(points), centres)
            seconds, told = median_seconds(mine, times), []
            for peer, work in peers:
                try:
                    theirs = work(points, centres)
                except ImportError:
                    told.append(f"{peer} missing")
                    continue
                if theirs is not None and not same(mine(), theirs):
                    sys.exit(f"{peer} and ours differ for {count} zones")
                took = median_seconds(partial(work, points, centres), times)
                told.append(f"{peer} {took:.2f} {took / seconds:.1f} x")
            print(f"{count:>6} {name:<14} {seconds:>8.3f}  {', '.join(told)}", flush=True)


def same(mine, theirs):
    return np.abs(mine - theirs).max() < SAME


def field_of(side):
    """Classes of a smooth surface over a field with a slanting edge and a hole."""
    surface = ndimage.gaussian_filter(np.random.default_rng(3).normal(size=(side, side)), 12)
    surface += ndimage.gaussian_filter(np.random.default_rng(4).normal(size=(side, side)), 2) / 8
    grid = Grid(500_000.0, 4_400_000.0 + side * 2.0, 2.0, side, side,
                spatial_reference("EPSG:32615").ExportToWkt())
    length = side * 2.0
    east, north = 500_000.0, 4_400_000.0
    ring = ((3, 5), (length - 7, 2), (length - 2, length - 9), (length / 2, length - 60),
            (6, length - 4))
    hole = ((.4, .4), (.4, .43), (.45, .44), (.46, .41))
    text = ", ".join(f"{east + x} {north + y}" for x, y in (*ring, ring[0]))
    cut = ", ".join(f"{east + x * length} {north + y * length}" for x, y in (*hole, hole[0]))
    boundary = bytes(ogr.CreateGeometryFromWkt(f"POLYGON (({text}), ({cut}))").ExportToWkb(
        ogr.wkbNDR))
    inside = inside_shares(boundary, grid)
    limits = np.quantile(surface, [0.25, 0.5, 0.75])
    return surface, np.where(inside > 0, np.digitize(surface, limits), -1), inside, grid, boundary


def workable(side):
    surface, classes, inside, grid, boundary = field_of(side)
    started = time.perf_counter()
    classes = workable_classes(classes, inside, cell_m=grid.cell_m, shape=WorkableShape(
        machine_width_m=12.0, heading_deg=20.0, smallest_area_m2=2000.0, smallest_width_m=12.0))
    shaped = zone_map_of("bench", "", grid, inside, classes, surface, ["1", "2", "3", "4"])
    tidied = time.perf_counter()
    layer = zone_layer("zones", shaped, boundary, deviation_m=2.0)
    done = time.perf_counter()
    apart = abs(sum(map(area_of, layer.geometries)) / area_of(boundary) - 1)
    if apart > 1e-6:
        sys.exit(f"areas of the zones and of the field differ by {apart:.1e}")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"\n{side * side:,} cells in 4 classes: tidied {tidied - started:.2f} s, polygons "
          f"{done - tidied:.2f} s, together {done - started:.2f} s; memory of the whole process at "
          f"most {peak:,.0f} MB; areas differ by {apart:.0e}")
    return done - started


def by_hand(side):
    """GDAL's polygons of the raw classes, small ones merged by the longest border, then cut."""
    _, classes, _, grid, boundary = field_of(side)
    started = time.perf_counter()
    raster = gdal.GetDriverByName("MEM").Create("", side, side, 1, gdal.GDT_Int32)
    raster.SetGeoTransform((grid.west_m, grid.cell_m, 0, grid.north_m, 0, -grid.cell_m))
    raster.GetRasterBand(1).WriteArray(classes)
    raster.GetRasterBand(1).SetNoDataValue(-1)
    source = ogr.GetDriverByName("Memory").CreateDataSource("")
    layer = source.CreateLayer("classes", spatial_reference(grid.crs_wkt))
    layer.CreateField(ogr.FieldDefn("class", ogr.OFTInteger))
    with contextlib.redirect_stdout(io.StringIO()):
        gdal.Polygonize(raster.GetRasterBand(1), raster.GetRasterBand(1).GetMaskBand(), layer, 0)
    polygonized = time.perf_counter()
    shapes = eliminate([feature.GetGeometryRef().Clone() for feature in layer], 2000.0)
    field = ogr.CreateGeometryFromWkb(boundary)
    shapes = [shape.Intersection(field) for shape in shapes]
    done = time.perf_counter()
    print(f"by hand: polygonized {polygonized - started:.2f} s, eliminated and cut "
          f"{done - polygonized:.2f} s, together {done - started:.2f} s, {len(shapes):,} polygons, "
          "neither smoothed nor widened")
    return done - started


def eliminate(shapes, smallest_m2):
    from qgis.core import QgsGeometry, QgsRectangle, QgsSpatialIndex

    index, made = QgsSpatialIndex(), {}
    for number, shape in enumerate(shapes):
        geometry = QgsGeometry()
        geometry.fromWkb(bytes(shape.ExportToWkb()))
        made[number] = geometry
        index.addFeature(number, geometry.boundingBox())
    for number in sorted(made, key=lambda one: made[one].area()):
        if made[number].area() >= smallest_m2:
            continue
        box = QgsRectangle(made[number].boundingBox())
        beside = [other for other in index.intersects(box) if other != number and other in made]
        borders = {other: made[number].intersection(made[other]).length() for other in beside}
        if borders and max(borders.values()) > 0:
            taker = max(borders, key=borders.get)
            index.addFeature(taker, made[number].boundingBox())
            made[taker] = made[taker].combine(made.pop(number))
    return [ogr.CreateGeometryFromWkb(bytes(one.asWkb())) for one in made.values()]


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=5, help="times each is taken")
    parser.add_argument("--cells", type=int, default=1_000_000, help="cells of fuzzy c-means")
    parser.add_argument("--zones", type=int, nargs="+", default=[2, 3, 4, 5, 6],
                        help="numbers of zones")
    parser.add_argument("--side", type=int, default=1000, help="cells on a side of the field")
    parser.add_argument("--only", choices=("gather", "shape"), help="one half of it")
    given = parser.parse_args()
    print(f"{THREADS} threads, float64, medians of {given.times}")
    if given.only != "shape":
        gathering(given.cells, given.zones, given.times)
    if given.only != "gather":
        taken = statistics.median(workable(given.side) for _ in range(given.times))
        hand = by_hand(given.side)
        print(f"median {taken:.2f} s; by hand {hand / taken:.1f} x")


if __name__ == "__main__":
    main()
