"""The version, read from the one place where it is written: metadata.txt."""
from configparser import ConfigParser
from pathlib import Path

METADATA = Path(__file__).parents[1] / "metadata.txt"


def version():
    """Return the version in metadata.txt."""
    metadata = ConfigParser(interpolation=None)
    metadata.read(METADATA, encoding="utf-8")
    return metadata["general"]["version"]
