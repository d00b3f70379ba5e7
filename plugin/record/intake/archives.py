"""Zipped files looked at before anything opens them: they must not burst."""
import zipfile
import zlib

from ...core.problems import InputProblem

MOST_MEMBERS = 2000
MOST_BYTES = 256 << 20  # unpacked, all members together; a million cells take some 60 MB
BLOCK = 1 << 20
# What zipfile raises of damaged archives, and, as kinds of RuntimeError, of passwords and of ways
# to pack that it does not know.
DAMAGED = (zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, EOFError, OSError, ValueError,
           RuntimeError)


def refuse_bursting(path):
    """Refuse a zipped file that is none, is damaged, or unpacks to more than MOST_BYTES.

    What it declares is looked at first, then what it really unpacks to, block by block.

    Raises   InputProblem
    """
    try:
        with zipfile.ZipFile(path) as archive:
            members = archive.infolist()
            if len(members) > MOST_MEMBERS or sum(one.file_size for one in members) > MOST_BYTES:
                raise InputProblem(_too_large(path))
            unpacked = 0
            for member in members:
                unpacked = _unpack(path, archive, member, unpacked)
    except InputProblem:
        raise
    except DAMAGED as problem:
        raise InputProblem(f"{path.name} is damaged or cut off: {problem}. Save or copy it "
                           "again.") from problem


def _unpack(path, archive, member, unpacked):
    with archive.open(member) as file:
        while True:
            block = file.read(BLOCK)
            if not block:
                return unpacked
            unpacked += len(block)
            if unpacked > MOST_BYTES:
                raise InputProblem(_too_large(path))
            if b"<!ENTITY" in block:
                raise InputProblem(f"{path.name} declares XML entities, as no table needs to. "
                                   "Save it as CSV first.")


def _too_large(path):
    return (f"{path.name} unpacks to more than {MOST_BYTES >> 20} MB, which no table of readings "
            "does. Save the readings alone as CSV.")
