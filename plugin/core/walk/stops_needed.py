"""How many stops a wanted precision of the mean takes."""
import numpy as np
from scipy.special import stdtrit

from ..problems import InputProblem

MOST_STOPS = 500  # more are no walk, and ordering them takes long
LEAST_STOPS = 2  # one stop has no spread
LEAST_FOR_SPREAD = 5  # stops of an earlier call from which their spread is taken: own choice


def stops_needed(spread_percent, precision_percent, *, confidence_percent=95.0):
    """Return the smallest number of stops with a mean as precise as wanted.

    The smallest n with (t CV / E)2 not above n, t for n - 1 degrees of freedom and both sides;
    LEAST_STOPS at least. Precise is meant of the mean of the whole field (or of one zone, if the
    stops are those of the zone), of stops that do not tell the same; a map asks for more.

    Parameters
        spread_percent      CV: standard deviation between stops, percent of their mean, above 0
        precision_percent   E: half of the interval of the mean, percent of the mean, above 0
        confidence_percent  above 0 and below 100
    Raises   InputProblem: a figure is out of its range, or more than MOST_STOPS are needed
    Source   University of Missouri Extension, sampling for stand counts, for the formula; n is
             iterated because t depends on it
    """
    for name, value in (("spread (CV)", spread_percent), ("precision", precision_percent)):
        if not (np.isfinite(value) and value > 0):
            raise InputProblem(f"The {name} is {value:g} %. Enter a figure above 0.")
    if not 0 < confidence_percent < 100:
        raise InputProblem(f"A confidence of {confidence_percent:g} % is none. Enter one between "
                           "0 and 100, such as 95.")
    counts = np.arange(LEAST_STOPS, MOST_STOPS + 1)
    student = stdtrit(counts - 1, 0.5 + confidence_percent / 200)
    enough = (student * spread_percent / precision_percent) ** 2 <= counts * (1 + 1e-12)
    if not enough.any():
        raise InputProblem(
            f"A mean within {precision_percent:g} % at a spread of {spread_percent:g} % takes more "
            f"than {MOST_STOPS} stops. Ask for less precision.")
    return int(counts[np.argmax(enough)])


def precision_of(stops, spread_percent, *, confidence_percent=95.0):
    """Return the precision (percent of the mean) of a number of stops, LEAST_STOPS at least.

    Source   as stops_needed
    """
    student = stdtrit(stops - 1, 0.5 + confidence_percent / 200)
    return float(student * spread_percent / np.sqrt(stops))


def spread_percent(values):
    """Return the spread (CV) of the stops of an earlier call, percent of their mean.

    Parameters
        values  (n,) one a stop, n at least LEAST_FOR_SPREAD; NaN is left out
    Raises   InputProblem: too few values, a mean that is not above 0, or no spread
    """
    known = np.asarray(values, float)
    known = known[np.isfinite(known)]
    if len(known) < LEAST_FOR_SPREAD:
        raise InputProblem(f"The earlier record has {len(known)} stops of it; their spread shows "
                           f"from {LEAST_FOR_SPREAD} on. Enter CV instead.")
    mean, deviation = known.mean(), known.std(ddof=1)
    if not (mean > 0 and deviation > 0):
        raise InputProblem(f"The earlier stops have mean {mean:g} and spread {deviation:g}, which "
                           "say nothing of the number needed. Enter CV instead.")
    return float(100 * deviation / mean)
