"""The order in which stops are walked, so that the way is short."""
import numpy as np
from scipy.spatial.distance import cdist

EXACT = 10  # places up to which the shortest way is found for sure: some 100,000 steps
LONGEST_RUN = 3  # stops moved together, as Or proposed


def walking_order(stops_m, *, start_m=None, back=False, tick=None):
    """Return the order (n,) in which to walk the stops, as numbers of stops.

    The way is straight from stop to stop; what lies between is not looked at. Up to EXACT places
    the order is the shortest there is; beyond, one that neither turning round a part of the way
    nor moving up to LONGEST_RUN stops elsewhere can shorten, which usually lies a few percent
    above. Of two orders of one length that with the shorter first leg is taken. The same stops
    give the same order.

    Parameters
        stops_m  (n, 2) metres
        start_m  (2,) where the walk begins; None: at whichever stop makes it shortest
        back     whether the walk ends where it began
        tick     called with 0 before each improvement; may raise Stopped
    Source   exact: Held and Karp (1962), J. SIAM 10:196-210; else 2-opt, Croes (1958), Operations
             Research 6:791-812, with Or's (1976) moves (all from memory)
    """
    stops = np.asarray(stops_m, float).reshape(-1, 2)
    if len(stops) < 2:
        return np.arange(len(stops))
    places = stops if start_m is None else np.vstack([start_m, stops])
    apart = cdist(places, places)
    if not back:
        apart = _open_ended(apart, fixed=start_m is not None)
    tour = _shortest(apart) if len(apart) <= EXACT else _short(apart, tick)
    return _from_the_start(tour, apart, len(stops), start_m is not None, back)


def _open_ended(apart, *, fixed):
    """Distances with one more place, from which the way back costs nothing.

    A round trip through it is a way with two ends; where the start is fixed, it costs more than
    any way to leave the place otherwise than to the start.
    """
    more = np.zeros((len(apart) + 1,) * 2)
    more[:-1, :-1] = apart
    if fixed:
        more[-1, 0] = more[0, -1] = -(apart.sum() + 1.0)
    return more


def _shortest(apart):
    """The shortest round trip through all places from place 0, by dynamic programming."""
    count = len(apart)
    others = count - 1
    cost = np.full((1 << others, others), np.inf)
    came = np.zeros((1 << others, others), int)
    for last in range(others):
        cost[1 << last, last] = apart[0, last + 1]
    for seen in range(1, 1 << others):
        for last in range(others):
            before = seen & ~(1 << last)
            if not seen >> last & 1 or not before:
                continue
            ways = cost[before] + apart[1:, last + 1]
            came[seen, last] = np.argmin(ways)
            cost[seen, last] = ways[came[seen, last]]
    seen = (1 << others) - 1
    last = int(np.argmin(cost[seen] + apart[1:, 0]))
    tour = []
    while seen:
        tour.append(last + 1)
        seen, last = seen & ~(1 << last), int(came[seen, last])
    return np.array([0, *reversed(tour)])


def _short(apart, tick):
    """A short round trip: to the nearest place each time, then better by 2-opt and Or's moves."""
    tour = _by_nearest(apart)
    while True:
        if tick is not None:
            tick(0.0)
        better = _turned(tour, apart)
        if better is None:
            better = _moved(tour, apart)
        if better is None:
            return tour
        tour = better


def _by_nearest(apart):
    left, tour = np.ones(len(apart), bool), [0]
    left[0] = False
    while left.any():
        tour.append(int(np.argmin(np.where(left, apart[tour[-1]], np.inf))))
        left[tour[-1]] = False
    return np.array(tour)


def _turned(tour, apart):
    """The trip with the one part turned round that shortens it most, or None."""
    following = np.roll(tour, -1)
    now = apart[tour, following]
    gain = (now[:, None] + now[None, :] - apart[np.ix_(tour, tour)]
            - apart[np.ix_(following, following)])
    gain = np.triu(gain, 1)
    first, last = np.unravel_index(np.argmax(gain), gain.shape)
    if gain[first, last] <= _LEAST:
        return None
    better = tour.copy()
    better[first + 1:last + 1] = tour[first + 1:last + 1][::-1]
    return better


def _moved(tour, apart):
    """The trip with one run of stops moved, perhaps turned round, where that shortens it."""
    count = len(tour)
    for run in range(1, LONGEST_RUN + 1):
        for first in range(count):
            part = np.roll(tour, -first)[:run]
            rest = np.roll(tour, -first)[run:]
            saved = (apart[rest[-1], part[0]] + apart[part[-1], rest[0]]
                     - apart[rest[-1], rest[0]])
            between = apart[rest[:-1], rest[1:]]
            costs = np.array([apart[rest[:-1], ends[0]] + apart[ends[1], rest[1:]] - between
                              for ends in ((part[0], part[-1]), (part[-1], part[0]))])
            turned, place = np.unravel_index(np.argmin(costs), costs.shape)
            if saved - costs[turned, place] > _LEAST:
                moved = part[::-1] if turned else part
                return np.concatenate([rest[:place + 1], moved, rest[place + 1:]])
    return None


_LEAST = 1e-7  # metres by which a way must be shorter: below it rounding would go on for ever


def _from_the_start(tour, apart, stops, fixed, back):
    """The stops of a round trip in the order walked, the shorter first leg first."""
    begin = 0 if fixed or back else stops  # the place added to a way with two ends
    trip = np.roll(tour, -int(np.flatnonzero(tour == begin)[0]))
    if fixed and not back:  # the way back lies beside the start, at one side or the other
        trip = trip if trip[-1] == len(apart) - 1 else np.roll(trip[::-1], 1)
    elif apart[trip[-2], trip[-1]] < apart[trip[1], trip[2 % len(trip)]] if begin == stops \
            else apart[trip[-1], trip[0]] < apart[trip[0], trip[1]]:
        trip = np.roll(trip[::-1], 1)
    first = 1 if fixed else 0
    return trip[(trip >= first) & (trip < stops + first)] - first
