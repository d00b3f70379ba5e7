"""How an output was made, so that it can be made again."""
from datetime import datetime, timezone

from ..version import version


def made(algorithm, settings, sha256=None):
    """Return what an output says of its making: program, version, algorithm, settings, time.

    Parameters
        algorithm  its id
        settings   dict of parameter name to the plain value used
        sha256     of the record's content, where readings came from one
    """
    return {"program": "Spadework", "version": version(), "algorithm": algorithm,
            "settings": settings, "record_sha256": sha256,
            "at": datetime.now(timezone.utc).isoformat(timespec="seconds")}
