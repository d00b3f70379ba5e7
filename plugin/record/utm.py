"""The UTM zone in which a record is kept."""
from math import floor

from ..core.problems import InputProblem


def utm_authority_id(longitude, latitude):
    """Return the authority id of the WGS 84 / UTM zone of a place, such as "EPSG:32615".

    A place on the line between two zones belongs to the eastern one, one on the equator to the
    north. Plain zones of 6 degrees: the wider ones of south-west Norway and Svalbard are not made.

    Parameters
        longitude, latitude  degrees, WGS 84; longitude from -180 to 180
    Raises   InputProblem: the place lies beyond UTM's reach, 80 degrees south to 84 north, or
             is no place on earth
    Source   EPSG geodetic parameter dataset, EPSG:32601-32660 and 32701-32760
    """
    if not (-180 <= longitude <= 180 and -80 <= latitude <= 84):
        raise InputProblem(f"The middle of the boundary is at longitude {longitude:.4f}, latitude "
                           f"{latitude:.4f}, where there is no UTM zone. Check the boundary's CRS.")
    zone = min(floor((longitude + 180) / 6) + 1, 60)
    return f"EPSG:{(32600 if latitude >= 0 else 32700) + zone}"
