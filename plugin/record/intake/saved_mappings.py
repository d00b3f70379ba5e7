"""Mappings kept by name in the user's profile, so that the next file of a kind needs none."""
import re
from pathlib import Path

from qgis.core import QgsApplication

from ...core.intake.mapping import mapping_from_json, mapping_to_json
from ...core.problems import InputProblem
from ...layers.beside import beside

FOLDER = Path("spadework", "mappings")
_NAME = re.compile(r"\w[\w .-]{0,63}")
LARGEST = 1 << 20  # bytes


def mapping_given(text):
    """Return the Mapping that a parameter names: JSON text, a file of it, or a saved name.

    Raises   InputProblem: it is none of them
    """
    text = text.strip()
    if text.startswith("{"):
        return mapping_from_json(text)
    for path in (Path(text), *_path_of(text)):
        if path.is_file():
            if path.stat().st_size > LARGEST:
                raise InputProblem(f"{path.name} is too large for a mapping. Choose another file.")
            try:
                return mapping_from_json(path.read_text("utf-8"))
            except UnicodeDecodeError as problem:
                raise InputProblem(f"{path.name} is no mapping: it is no text.") from problem
    raise InputProblem(f"MAPPING: there is no file and no saved mapping {text[:60]!r}; saved are "
                       f"{', '.join(saved_mappings()) or 'none'}.")


def save_mapping(name, mapping):
    """Keep a mapping by name in the user's profile; one of the same name is replaced.

    Raises   InputProblem: the name cannot be that of a file
    """
    refuse_name(name)
    path = _folder() / f"{name}.json"
    path.parent.mkdir(parents=True, exist_ok=True)
    with beside(path) as unfinished:
        unfinished.write_text(mapping_to_json(mapping) + "\n", encoding="utf-8")


def saved_mappings():
    """Return the names of the saved mappings, in alphabetic order."""
    return sorted(path.stem for path in _folder().glob("*.json"))


def refuse_name(name):
    """Raises InputProblem where a mapping cannot be saved by that name."""
    if not _NAME.fullmatch(name):
        raise InputProblem(f"{name[:60]!r} cannot be the name of a mapping. Use letters, digits, "
                           "spaces, dots and hyphens, 64 at most, and begin with a letter.")


def _path_of(name):
    return (_folder() / f"{name}.json",) if _NAME.fullmatch(name) else ()


def _folder():
    return Path(QgsApplication.qgisSettingsDirPath()) / FOLDER
