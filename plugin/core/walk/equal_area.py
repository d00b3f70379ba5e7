"""Ground parted into compact pieces of equal area, and a stop drawn in each."""
import numpy as np

from ..problems import InputProblem

MOST_DRAWS = 200  # of a stop until it lies on the ground


def equal_area_strata(cells_m, count):
    """Return the number (n,), 0 to count - 1, of the piece that each cell belongs to.

    The ground is cut in two across its longer direction, so that the areas of the two sides are
    as the numbers of stops they get, and each side again until every piece has one stop. Pieces
    differ by one cell at most. A piece of a field in several parts may lie in two of them.
    Pieces are numbered as they are cut; the same cells give the same pieces.

    Parameters
        cells_m  (n, 2) centres of cells of equal area, metres, n at least count
        count    pieces wanted, at least 1
    Raises   InputProblem: there are fewer cells than pieces
    Source   compact strata of equal area: Brus, Spaetjens and de Gruijter (1999), Geoderma
             89:129-148; cutting in two, as k-d trees do, is this program's own way to them
    """
    cells = np.asarray(cells_m, float)
    if len(cells) < count or count < 1:
        raise InputProblem(f"{count} stops do not go into ground of {len(cells)} cells. Ask for "
                           "fewer.")
    strata = np.zeros(len(cells), int)
    _cut(cells, np.arange(len(cells)), 0, count, strata)
    return strata


def _cut(cells, here, first, count, strata):
    if count == 1:
        strata[here] = first
        return
    # Rounded, so that cells of one column are level however the sums came out.
    along = np.round((cells[here] - cells[here].mean(axis=0)) @ _longer(cells[here]), 6)
    order = here[np.lexsort((cells[here, 1], cells[here, 0], along))]
    low = count // 2
    part = round(len(order) * low / count)
    _cut(cells, order[:part], first, low, strata)
    _cut(cells, order[part:], first + low, count - low, strata)


def _longer(cells):
    """The direction in which cells reach furthest, east of north."""
    east, north = cells.T
    spread = np.cov(east, north) if len(cells) > 1 else np.zeros((2, 2))
    values, vectors = np.linalg.eigh(np.round(spread, 9))
    if values[1] - values[0] <= 1e-9 * max(values[1], 1.0):  # as long as wide
        return np.array([1.0, 0.0])
    longer = vectors[:, 1]
    return longer if longer[0] > 0 or (longer[0] == 0 and longer[1] > 0) else -longer


def stop_in_each(cells_m, strata, cell_m, draw, *, on_ground=None):
    """Return one place (count, 2) drawn at random in each piece, metres.

    A cell of the piece is drawn, all alike, then a place in it; off the ground, both are drawn
    again. So each spot of a piece is as likely as any other. Where MOST_DRAWS find no ground, the
    centre of a cell is taken.

    Parameters
        cells_m    (n, 2) centres of square cells
        strata     (n,) piece of each
        cell_m     side of a cell
        draw       numpy Generator
        on_ground  function of (k, 2) places that tells which lie on the ground; None: all do
    """
    cells, strata = np.asarray(cells_m, float), np.asarray(strata)
    pieces = [np.flatnonzero(strata == stratum) for stratum in np.unique(strata)]
    places = np.array([cells[piece[0]] for piece in pieces])
    wanted = np.ones(len(pieces), bool)
    for _ in range(MOST_DRAWS):
        chosen = [draw.choice(pieces[number]) for number in np.flatnonzero(wanted)]
        places[wanted] = cells[chosen] + draw.uniform(-cell_m / 2, cell_m / 2, (len(chosen), 2))
        if on_ground is None:
            return places
        wanted = ~on_ground(places)
        if not wanted.any():
            return places
    places[wanted] = [cells[pieces[number][0]] for number in np.flatnonzero(wanted)]
    return places
