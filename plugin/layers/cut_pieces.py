"""Small pieces that cutting to the boundary leaves of zones: given to the zone beside them."""
import heapq
from functools import reduce

import numpy as np
from osgeo import ogr

from .strict_ogr import strict_ogr
from .vectors import wound

_ROUNDING = 1e-9  # of an area


def pieces_joined(zones, smallest_m2, *, takes=lambda taker, piece: True, tick=None):
    """Return zones in which no piece with a neighbour is smaller than the smallest area.

    Cells hang together where the boundary, such as a ditch narrower than they are, parts the
    ground in them; cutting then leaves pieces too small to work. The smallest goes first, to the
    zone with which it shares the longest border, and becomes one with all that it borders on
    there. A piece that has no neighbour, or none that takes it, stays. Vertices stay as they are,
    so that neighbours keep sharing their edges exactly. Time grows with the small pieces times the
    vertices of their neighbours.

    Parameters
        zones        WKB multipolygon of each zone, or None; vertices of neighbours are the same
        smallest_m2  a piece of just this area stays
        takes        whether a zone (its number) may take a piece of another (its number)
        tick         called with the fraction done; may raise Stopped
    Returns  list of WKB multipolygon or None
    """
    tick = tick or (lambda fraction: None)
    with strict_ogr():
        pieces = _Pieces(zones)
        pieces.join(smallest_m2 * (1 - _ROUNDING), takes, tick)
        return pieces.by_zone(len(zones))


class _Pieces:
    """Pieces of zones by number; one that has become part of another is gone."""

    def __init__(self, zones):
        self.shapes, self.zone = [], []
        for number, wkb in enumerate(zones):
            whole = None if wkb is None else ogr.CreateGeometryFromWkb(wkb)
            for part in range(0 if whole is None else whole.GetGeometryCount()):
                self.shapes.append(whole.GetGeometryRef(part).Clone())
                self.zone.append(number)
        self.boxes = np.array([shape.GetEnvelope() for shape in self.shapes]).reshape(-1, 4)

    def join(self, smallest_m2, takes, tick):
        """Give away what is smaller, the smallest first."""
        waiting = [(shape.Area(), number) for number, shape in enumerate(self.shapes)
                   if shape.Area() < smallest_m2]
        heapq.heapify(waiting)
        for turn, total in enumerate(iter(lambda: len(waiting), 0)):
            tick(turn / (turn + total))
            area, piece = heapq.heappop(waiting)
            if self.shapes[piece] is None or self.shapes[piece].Area() != area:
                continue
            borders = self._borders(piece, takes)
            if not borders:
                continue
            lengths = {}
            for other, length in borders.items():
                lengths[self.zone[other]] = lengths.get(self.zone[other], 0.0) + length
            zone = max(lengths, key=lambda number: (lengths[number], -number))
            whole = self._unite(piece, [other for other in borders if self.zone[other] == zone])
            if self.shapes[whole].Area() < smallest_m2:
                heapq.heappush(waiting, (self.shapes[whole].Area(), whole))

    def _borders(self, piece, takes):
        """Length of the border with each piece of a zone that may take this one, by number."""
        west, east, south, north = self.boxes[piece]
        near = ((self.boxes[:, 0] <= east) & (self.boxes[:, 1] >= west)
                & (self.boxes[:, 2] <= north) & (self.boxes[:, 3] >= south))
        mine, found = self.shapes[piece].Boundary(), {}
        for other in np.flatnonzero(near).tolist():
            if (other != piece and self.shapes[other] is not None
                    and takes(self.zone[other], self.zone[piece])):
                length = mine.Intersection(self.shapes[other].Boundary()).Length()
                if length > 0:
                    found[other] = length
        return found

    def _unite(self, piece, others):
        """Make a piece and others of one zone one, under the first number of the others."""
        whole, *rest = others
        self.shapes[whole] = wound(reduce(lambda one, other: one.Union(self.shapes[other]),
                                          [*rest, piece], self.shapes[whole]))
        for gone in (*rest, piece):
            self.shapes[gone] = None
        self.boxes[whole] = self.shapes[whole].GetEnvelope()
        return whole

    def by_zone(self, count):
        """Return the WKB multipolygon of each zone, None of one that has no piece."""
        wholes = [ogr.Geometry(ogr.wkbMultiPolygon) for _ in range(count)]
        for zone, shape in zip(self.zone, self.shapes):
            if shape is not None:
                wholes[zone].AddGeometry(shape)
        return [None if whole.IsEmpty() else bytes(whole.ExportToWkb(ogr.wkbNDR))
                for whole in wholes]
