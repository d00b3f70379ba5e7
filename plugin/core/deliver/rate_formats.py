"""The formats of rate files: what each is called, its file's name, and where its files go."""
from dataclasses import dataclass


@dataclass(frozen=True)
class RateFormat:
    """A format.

    kind      vector, zones (task file with polygons), values or codes (task file with a grid)
    ending    what its file's name ends in where several formats are written of one plan
    driver    OGR's, of a vector format
    options   layer creation options, of a vector format
    """
    name: str
    kind: str
    ending: str
    driver: str = ""
    options: tuple = ()

    @property
    def extension(self):
        """What the name of its file must end in."""
        return f".{self.ending.rsplit('.', 1)[1]}"


# GeoJSON as RFC 7946 asks, but with 9 decimals, 0.1 mm, where the writer's own 7, 1 cm, would fold
# thin corners over each other; the shapefile says in a .cpg file that its text is UTF-8.
FORMATS = (
    RateFormat("GeoPackage", "vector", ".gpkg", "GPKG"),
    RateFormat("Shapefile", "vector", ".shp", "ESRI Shapefile", ("ENCODING=UTF-8",)),
    RateFormat("GeoJSON", "vector", ".geojson", "GeoJSON",
               ("RFC7946=YES", "COORDINATE_PRECISION=9")),
    RateFormat("ISO 11783-10, zones", "zones", ".zip"),
    RateFormat("ISO 11783-10, grid of rates", "values", "_grid.zip"),
    RateFormat("ISO 11783-10, grid of zone codes", "codes", "_codes.zip"),
)


def file_names(name, formats):
    """Return the file name of each format; `name` is that of one of them.

    A single format gets the name as it is; of several, each gets what is left of `name` without
    its ending, and its own ending.

    Returns   list of str, or None where `name` ends as none of them does
    """
    if len(formats) == 1:
        return [name] if name.lower().endswith(formats[0].extension) else None
    for one in sorted(formats, key=lambda one: -len(one.ending)):
        if name.lower().endswith(one.ending):
            stem = name[:-len(one.ending)]
            return [stem + other.ending for other in formats]
    return None


def where_it_goes(one):
    """Return what a user does with a file of a format: for the work order."""
    if one.kind != "vector":
        return ("Unpack it and copy the folder TASKDATA to the root of the stick †; one such "
                "folder on a stick.")
    if one.name == "Shapefile":
        return ("The five files .shp, .shx, .dbf, .prj and .cpg together, into the folder that the "
                "controller's manual names.")
    if one.name == "GeoPackage":
        return "Map programs, and controllers that read GeoPackage."
    return "Web maps and programs that read GeoJSON."
