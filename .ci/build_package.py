"""Build the zip that QGIS installs: build_package.py ROOT ZIP.

It holds one folder, spadework/, with what a user needs and nothing else. The same sources give
the same bytes: entries are sorted and carry one fixed time and one fixed mode.
"""
import os
import sys
import zipfile
from pathlib import Path

NAME = "spadework"
SINGLE = ("CHANGELOG.md", "LICENSE", "README.md", "__init__.py", "metadata.txt")
FOLDERS = ("plugin", "styles")
KINDS = {".csv", ".json", ".md", ".png", ".py", ".qml", ".qpt", ".svg", ".txt", ".ui"}
TIME = (2026, 1, 1, 0, 0, 0)


def contents(root):
    """Return the files that belong into the package, sorted; SystemExit on one that does not."""
    files = [root / name for name in SINGLE]
    lacking = [path.name for path in files if not path.is_file()]
    if lacking:
        raise SystemExit(f"package: {', '.join(lacking)} is not there; the package needs it.")
    for folder in FOLDERS:
        for path in (root / folder).rglob("*"):
            if path.is_file() and "__pycache__" not in path.parts and path.name != ".gitkeep":
                if path.suffix not in KINDS or path.name.startswith("."):
                    raise SystemExit(
                        f"package: {path.relative_to(root)} is of a kind that the package does not "
                        f"hold ({' '.join(sorted(KINDS))}). Move it out of {folder}/.")
                files.append(path)
    return sorted(files, key=lambda path: path.relative_to(root).as_posix())


def build(root, target):
    """Write the package to `target`: beside it first, then renamed."""
    files, beside = contents(root), target.with_suffix(".part")
    with zipfile.ZipFile(beside, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as package:
        for path in files:
            entry = zipfile.ZipInfo(f"{NAME}/{path.relative_to(root).as_posix()}", TIME)
            entry.external_attr = 0o100644 << 16
            entry.create_system = 3  # Unix, wherever it is built
            entry.compress_type = zipfile.ZIP_DEFLATED
            package.writestr(entry, path.read_bytes())
    os.replace(beside, target)


if __name__ == "__main__":
    build(Path(sys.argv[1]), Path(sys.argv[2]))
