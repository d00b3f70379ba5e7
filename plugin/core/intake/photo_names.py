"""Names of photos that may be kept: plain relative paths, which lead nowhere but down."""
import re

from ..problems import InputProblem

_BAD = re.compile(r'[\x00-\x1f\x7f<>:"|?*\ud800-\udfff]')


def plain_photo_path(name):
    """Return the path of a photo with forward slashes.

    Raises   InputProblem: it is absolute, has a drive or a server in front, climbs with "..", or
             holds a character that no file name may have
    """
    path = name.strip().replace("\\", "/")
    parts = path.split("/")
    if path.startswith(("/", "~")) or ".." in parts or re.match("[A-Za-z]:", path) \
            or "://" in path:
        raise InputProblem(f"{name[:60]!r} leads out of the folder of photos. Give the photo's "
                           "name alone, and put it into the folder given as PHOTOS.")
    if _BAD.search(path) or not all(part.strip(" .") for part in parts):
        raise InputProblem(f"{name[:60]!r} is no name of a photo. Give the name of its file.")
    return path
