"""A folder that comes into being whole or not at all."""
import os
import shutil
from contextlib import contextmanager
from pathlib import Path

from ..core.problems import InputProblem
from .beside import is_record
from .json_files import read_json

MARK = "summary.json"  # the file by which a folder of results is known
UNFINISHED = ".spadework-unfinished"


def refuse_folder(path, *, replace):
    """Return why a folder cannot be written to, or "" where it can.

    A folder that is there must be empty, or hold results and be given up with `replace`;
    never where a field record lies among them.
    """
    path = Path(path)
    if not path.parent.is_dir():
        return f"There is no folder {path.parent} to make {path.name} in."
    if path.is_file():
        return f"{path} is a file. Give the name of a folder that is not there yet."
    if not path.is_dir() or not any(path.iterdir()):
        return ""
    if not _holds_results(path):
        return (f"{path} holds files that are no results of a field call. Choose another folder, "
                "or one that is not there yet.")
    records = sorted(file.name for file in path.rglob("*.gpkg") if is_record(file))
    if records:
        return (f"{path} holds a field record ({records[0]}), which would be lost with the earlier "
                "results. Move it elsewhere, or choose another folder.")
    if not replace:
        return (f"{path} holds the results of an earlier field call. Choose another folder, or "
                "replace them.")
    return ""


def _holds_results(path):
    """Whether the folder holds a summary that this program wrote, so that it may be given up."""
    try:
        return read_json(path / MARK)["made"]["program"] == "Spadework"
    except (OSError, ValueError, KeyError, TypeError):
        return False


@contextmanager
def whole_folder(path):
    """Give a folder to work in beside `path`, and put it in its place at the end.

    On an exception nothing is left of it and what was at `path` stays. What an earlier run left
    unfinished, killed half way, is cleared away first; where it was killed while putting its
    folder in place, the one before is put back.

    Raises   InputProblem: the folder cannot be made
    """
    path = Path(path)
    work = path.with_name(path.name + UNFINISHED)
    shutil.rmtree(work, ignore_errors=True)
    try:
        if _old(path).exists() and not path.exists():
            os.replace(_old(path), path)
        work.mkdir()
    except OSError as problem:
        raise InputProblem(f"{path.parent} cannot be written to: {problem}.") from problem
    try:
        yield work
        _put(work, path)
    finally:
        shutil.rmtree(work, ignore_errors=True)


def _old(path):
    return path.with_name(path.name + UNFINISHED + "-old")


def _put(work, path):
    old = _old(path)
    shutil.rmtree(old, ignore_errors=True)
    if path.exists():
        os.replace(path, old)
    try:
        os.replace(work, path)
    except OSError:
        if old.exists():
            os.replace(old, path)
        raise
    shutil.rmtree(old, ignore_errors=True)
