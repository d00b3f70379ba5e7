"""How many readings a plan must rest on."""
from ..problems import InputProblem

# At least 5 places: Tennessee (2011) and Purdue field guide (second-hand), for counts of a stand;
# for the insertions of a plan the same is this program's own choice.
LEAST_PLACES = 5


def require_readings(surface):
    """Refuse a surface made from fewer than LEAST_PLACES places: an area is not planned from it.

    Raises   InputProblem: there are too few
    """
    places = surface.account["places"]
    if places < LEAST_PLACES:
        raise InputProblem(f"{surface.name}: {places} stops are too few to plan an area from. Take "
                           f"{LEAST_PLACES} or more.")
