"""Photos of readings: found by name or by their geotag, and kept beside the record."""
import filecmp
import math
import re
import shutil
from pathlib import Path

import numpy as np
from osgeo import gdal
from scipy.spatial import cKDTree

from ...core.problems import InputProblem
from ...layers.strict_ogr import strict_ogr
from .places import WGS84, to_record

ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff")
REACH_M = 15.0  # from a geotag to its reading: a hand-held receiver's error twice, our choice
_ANGLE = re.compile(r"\(?(-?[\d.]+)\)?")


def photos_in(folder):
    """Return the photos of a folder as a dict of name, in small letters, to path.

    Raises   InputProblem: there is no such folder
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise InputProblem(f"There is no folder {folder} of photos.")
    return {path.name.lower(): path for path in sorted(folder.iterdir())
            if path.suffix.lower() in ENDINGS and path.is_file() and not path.is_symlink()}


def named_photos(names, photos):
    """Return the path of each photo that is named, None where none is; and those not found.

    Parameters
        names   (n,) texts as the source has them, None for none
        photos  dict of `photos_in`
    Returns  list of n Paths or None, and a dict of position to what is wrong there
    """
    found, wrong = [], {}
    for place, name in enumerate(names):
        path = photos.get(Path(name).name.lower()) if name else None
        if name and path is None:
            wrong[place] = (f"photo: there is no {Path(name).name!r} in the folder of photos. Put "
                            "it there, or empty the cell.")
        found.append(path)
    return found, wrong


def tagged_photos(positions, photos, record):
    """Return the photo whose geotag lies nearest to each reading without one, and those left.

    A photo goes to the nearest reading within REACH_M, a reading gets the nearest of its photos.

    Parameters
        positions  (n, 2) metres, of readings without a photo
        photos     list of Paths
    Returns  dict of position to Path, and list of Paths with a geotag but no reading
    """
    tagged = [(path, place) for path, place in ((path, geotag(path)) for path in photos) if place]
    if not tagged or not len(positions):
        return {}, [path for path, _ in tagged]
    places = to_record(np.array([place for _, place in tagged], float), WGS84, record)
    there = np.isfinite(places).all(axis=1)
    apart, nearest = np.full(len(places), np.inf), np.zeros(len(places), int)
    apart[there], nearest[there] = cKDTree(positions).query(places[there])
    chosen, left = {}, []
    for number in np.argsort(apart, kind="stable"):
        path = tagged[number][0]
        if apart[number] <= REACH_M and int(nearest[number]) not in chosen:
            chosen[int(nearest[number])] = path
        else:
            left.append(path)
    return chosen, left


def geotag(path):
    """Return longitude and latitude (WGS 84) of a photo, None where it does not tell."""
    with strict_ogr():
        try:
            tags = gdal.OpenEx(str(path), gdal.OF_RASTER | gdal.OF_READONLY,
                               ["JPEG", "PNG", "GTiff"]).GetMetadata()
        except RuntimeError:
            return None
    longitude = _degrees(tags.get("EXIF_GPSLongitude"), tags.get("EXIF_GPSLongitudeRef"))
    latitude = _degrees(tags.get("EXIF_GPSLatitude"), tags.get("EXIF_GPSLatitudeRef"))
    if longitude is None or latitude is None or not (abs(latitude) <= 90 and abs(longitude) <= 180):
        return None
    return longitude, latitude


def _degrees(parts, reference):
    try:
        numbers = [float(number) for number in _ANGLE.findall(parts or "")]
    except ValueError:
        return None
    if not numbers or len(numbers) > 3 or not all(map(math.isfinite, numbers)):
        return None
    size = sum(number / 60**place for place, number in enumerate(numbers))
    return -size if (reference or "").strip().upper()[:1] in ("S", "W") else size


class KeptPhotos:
    """Photos copied into the record's folder; taken away again unless the import is written."""

    def __init__(self, record_path):
        self._folder = Path(record_path).parent / f"{Path(record_path).stem}-photos"
        self._made = []

    def keep(self, path):
        """Return a photo's path relative to the record, copying it where it is not there yet."""
        number = 1
        while True:
            name = path.name if number == 1 else f"{path.stem}-{number}{path.suffix}"
            kept = self._folder / name
            if not kept.exists():
                break
            if filecmp.cmp(path, kept, shallow=False):
                return f"{self._folder.name}/{name}"
            number += 1
        try:
            if not self._folder.exists():
                self._folder.mkdir()
                self._made.append(self._folder)
            self._made.append(kept)
            shutil.copyfile(path, kept)
        except OSError as problem:
            raise InputProblem(f"{path.name} could not be copied beside the record: "
                               f"{problem.strerror}.") from problem
        return f"{self._folder.name}/{name}"

    def __enter__(self):
        return self

    def __exit__(self, kind, problem, trace):
        if kind is None:
            return
        for path in reversed(self._made):
            if path.is_dir():
                path.rmdir()
            else:
                path.unlink(missing_ok=True)
