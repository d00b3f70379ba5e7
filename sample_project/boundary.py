"""The invented field's outline: a concave edge, a grassed waterway cut out, a tree island."""
import struct

import numpy as np

CRS = "EPSG:32615"
CORNER_M = (458_300.0, 4_649_700.0)  # easting and northing of the south-west corner, UTM zone 15N
HEADING_DEGREES = 3.0                # of the rows, clockwise from north

# Corners as (metres across the rows, metres along the rows) from the south-west corner.
SOUTH_END = [(0, 0), (310, -8), (605, 10)]
EAST_BELOW_WATERWAY = [(613, 205)]
WATERWAY = [(530, 213), (440, 235), (360, 269), (306, 301), (299, 312),
            (309, 318), (368, 287), (447, 253), (534, 231)]
EAST_ABOVE_WATERWAY = [(614, 223), (622, 470)]
NORTH_EAST_NOTCH = [(622, 470), (536, 478), (524, 616)]
NORTH_END = [(524, 616), (310, 630), (125, 618), (8, 606)]
WEST_CONCAVE = [(28, 480), (36, 370), (26, 260), (8, 120)]
TREE_ISLAND_CENTRE, TREE_ISLAND_RADIUS_M, TREE_ISLAND_CORNERS = (420, 490), 21.0, 12

HEADLAND_EDGES = (SOUTH_END, NORTH_EAST_NOTCH[:2], NORTH_END)  # where the machines turn


def to_map(local_m):
    """Return eastings and northings, (n, 2) m, of (n, 2) positions across and along the rows."""
    local = np.asarray(local_m, float).reshape(-1, 2)
    return local @ _axes() + np.array(CORNER_M)


def to_local(positions_m):
    """Return positions across and along the rows, (n, 2) m, of (n, 2) eastings and northings."""
    return (np.asarray(positions_m, float).reshape(-1, 2) - np.array(CORNER_M)) @ _axes().T


def rings_local():
    """Return the closed exterior ring and the closed hole, each (k, 2) m across and along."""
    exterior = (SOUTH_END + EAST_BELOW_WATERWAY + WATERWAY + EAST_ABOVE_WATERWAY
                + NORTH_EAST_NOTCH[1:] + NORTH_END[1:] + WEST_CONCAVE)
    turn = -2 * np.pi * np.arange(TREE_ISLAND_CORNERS) / TREE_ISLAND_CORNERS
    island = TREE_ISLAND_CENTRE + TREE_ISLAND_RADIUS_M * np.column_stack(
        [np.cos(turn), np.sin(turn)])
    return [np.vstack([ring, ring[:1]]) for ring in (np.array(exterior, float), island)]


def boundary_wkb():
    """Return the field as a well-known-binary polygon, little-endian, rounded to a centimetre."""
    rings = [np.round(to_map(ring), 2) for ring in rings_local()]
    return struct.pack("<BII", 1, 3, len(rings)) + b"".join(
        struct.pack("<I", len(ring)) + ring.astype("<f8").tobytes() for ring in rings)


def area_m2():
    """Return the area of the field, square metres, the tree island and waterway left out."""
    return sum(_signed_area(ring) for ring in rings_local())


def inside(local_m):
    """Return (n,) whether positions across and along the rows lie in the field.

    A position on the edge may fall on either side.
    """
    local = np.asarray(local_m, float).reshape(-1, 2)
    within = np.zeros(len(local), bool)
    for ring in rings_local():
        for (start_across, start_along), (end_across, end_along) in zip(ring[:-1], ring[1:]):
            straddles = (start_along > local[:, 1]) != (end_along > local[:, 1])
            if straddles.any():
                crossing = start_across + (local[:, 1] - start_along) * (
                    end_across - start_across) / (end_along - start_along)
                within ^= straddles & (local[:, 0] < crossing)
    return within


def distance_to_edge_m(local_m):
    """Return (n,) metres from positions to the nearest edge, the waterway and island included."""
    return np.min([distance_to_line_m(local_m, ring) for ring in rings_local()], axis=0)


def distance_to_line_m(local_m, corners):
    """Return (n,) metres from positions across and along to the nearest point of a broken line."""
    local, corners = np.asarray(local_m, float).reshape(-1, 2), np.asarray(corners, float)
    nearest = np.full(len(local), np.inf)
    for start, end in zip(corners[:-1], corners[1:]):
        leg = end - start
        share = np.clip((local - start) @ leg / (leg @ leg), 0.0, 1.0)
        nearest = np.minimum(nearest, np.hypot(*(local - start - share[:, None] * leg).T))
    return nearest


def _axes():
    heading = np.radians(HEADING_DEGREES)
    return np.array([[np.cos(heading), -np.sin(heading)], [np.sin(heading), np.cos(heading)]])


def _signed_area(ring):
    across, along = ring.T
    return float(np.sum(across[:-1] * along[1:] - across[1:] * along[:-1]) / 2)
