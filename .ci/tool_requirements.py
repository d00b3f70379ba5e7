"""Write pip's requirements (the extras in pyproject.toml) and constraints into a folder.

The constraints hold numpy and scipy at the versions that QGIS came with: a newer numpy in the
virtual environment would break the GDAL of the system, which is built for the older one.
"""
import sys
import tomllib
from importlib.metadata import version
from pathlib import Path

root, folder = Path(__file__).resolve().parents[1], Path(sys.argv[1])
extras = tomllib.loads((root / "pyproject.toml").read_text("utf-8"))["project"][
    "optional-dependencies"]
wanted = sorted(spec for extra in extras.values() for spec in extra)
held = [f"{name}=={version(name)}" for name in ("numpy", "scipy")]
(folder / "requirements.txt").write_text("\n".join(wanted) + "\n", "utf-8")
(folder / "constraints.txt").write_text("\n".join(held) + "\n", "utf-8")
