"""How effective a lime is, by its analysis: the share of its mass that counts as pure lime."""
from ..problems import InputProblem

# Share of the calcium carbonate equivalent that counts by particle size: New York's index, as in
# Cornell University's course for certified crop advisers (undated copy, read).
_COARSE, _MIDDLE, _FINE = 0.40, 0.80, 1.00  # 20 to 60 mesh, 60 to 100 mesh, through 100 mesh
POUNDS_PER_SHORT_TON = 2000


def effective_by_fineness(*, passing_20, passing_60, passing_100, carbonate_equivalent):
    """Return the effective percent of a lime from its sieves and its neutralizing value.

    What stays on the 20 mesh sieve counts for nothing.

    Parameters
        passing_20, passing_60, passing_100   % by mass through sieves of 20, 60 and 100 mesh
        carbonate_equivalent                  % of pure calcium carbonate
    Raises   InputProblem: shares that do not fall from sieve to sieve, or are not percent
    Source   effective neutralizing value, Cornell University CCA course (undated copy)
    """
    if not 100 >= passing_20 >= passing_60 >= passing_100 >= 0:
        raise InputProblem(f"{passing_20:g}, {passing_60:g} and {passing_100:g} % pass the sieves "
                           "of 20, 60 and 100 mesh. Each finer sieve lets less through; enter "
                           "percents from 0 to 100.")
    if not carbonate_equivalent > 0:
        raise InputProblem(f"The calcium carbonate equivalent is {carbonate_equivalent:g} %. "
                           "Enter the one of the lime's analysis, above 0.")
    fineness = (_COARSE * (passing_20 - passing_60) + _MIDDLE * (passing_60 - passing_100)
                + _FINE * passing_100)
    return fineness * carbonate_equivalent / 100


def effective_by_pounds(pounds_per_ton):
    """Return the effective percent of a lime sold by effective pounds in a short ton.

    Raises   InputProblem: not above 0
    Source   effective neutralizing power, Ohio (second-hand): 2,000 lb/ton is full strength
    """
    if not pounds_per_ton > 0:
        raise InputProblem(f"{pounds_per_ton:g} effective lb/ton were entered. Enter the figure "
                           "of the lime's analysis, above 0.")
    return 100 * pounds_per_ton / POUNDS_PER_SHORT_TON
