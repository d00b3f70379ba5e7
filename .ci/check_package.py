"""Check the package as the public plugin repository does on upload, and a little more:
check_package.py ZIP. Prints each thing that is wrong and exits 1, or one line when all is well.
"""
import configparser
import json
import re
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

from build_package import KINDS, NAME
from source_rules import broken_in

LARGEST_BYTES = 2_000_000  # the repository takes more; this plugin has no need of it
NEEDED = ("name", "description", "about", "version", "qgisMinimumVersion", "author", "email",
          "tracker", "repository", "hasProcessingProvider")
REFUSED = ("supportsQt6",)
PATTERNS = {
    "name": r"[A-Z][A-Za-z ]+",
    "version": r"\d+\.\d+\.\d+",
    "qgisMinimumVersion": r"\d+\.\d+(\.\d+)?",
    "email": r"[^@\s]+@[^@\s]+\.[a-z]+",
    "homepage": r"https://\S+",
    "tracker": r"https://\S+",
    "repository": r"https://\S+",
    "hasProcessingProvider": r"yes",
    "experimental": r"True|False",
}


def metadata_problems(text):
    """Return what the repository would refuse in metadata.txt, as sentences."""
    parser = configparser.ConfigParser(interpolation=None)
    parser.optionxform = str
    parser.read_string(text)
    values = dict(parser["general"]) if parser.has_section("general") else {}
    problems = [f"metadata.txt: {key} is missing." for key in NEEDED if not values.get(key)]
    problems += [f"metadata.txt: {key} is not accepted; take it out."
                 for key in REFUSED if key in values]
    problems += [f"metadata.txt: {key}={values[key]} is not of the form {pattern}."
                 for key, pattern in PATTERNS.items()
                 if values.get(key) and not re.fullmatch(pattern, values[key])]
    if re.search(r"plugin|qgis", values.get("name", ""), re.IGNORECASE):
        problems.append("metadata.txt: the name must not hold 'plugin' or 'QGIS'.")
    return problems, values


def package_problems(path):
    """Return all that is wrong with the package at `path`, as sentences."""
    problems = []
    size = path.stat().st_size
    if size > LARGEST_BYTES:
        problems.append(f"the package has {size} bytes, more than {LARGEST_BYTES}.")
    with zipfile.ZipFile(path) as package, tempfile.TemporaryDirectory() as folder:
        names = package.namelist()
        for name in names:
            parts = name.split("/")
            if parts[0] != NAME or ".." in parts or len(parts) < 2:
                problems.append(f"{name} is not in the one folder {NAME}/.")
            elif any(part.startswith(".") or part == "__pycache__" for part in parts) or (
                    parts[-1] != "LICENSE" and Path(name).suffix not in KINDS):
                problems.append(f"{name} has no place in a package.")
        if problems:
            return problems  # nothing is unpacked that is not as it should be
        package.extractall(folder)
        top = Path(folder) / NAME
        found, values = metadata_problems((top / "metadata.txt").read_text("utf-8"))
        problems += found
        if values.get("icon") and not (top / values["icon"]).is_file():
            problems.append(f"metadata.txt: the icon {values['icon']} is not in the package.")
        if f"## {values.get('version')}\n" not in (top / "CHANGELOG.md").read_text("utf-8"):
            problems.append(f"CHANGELOG.md has no section for version {values.get('version')}.")
        if "GNU GENERAL PUBLIC LICENSE" not in (top / "LICENSE").read_text("utf-8"):
            problems.append("LICENSE does not hold the GNU General Public License.")
        for source in sorted(top.rglob("*.py")):
            problems += broken_in(source.relative_to(top).as_posix(), source.read_text("utf-8"))
        problems += bandit_problems(top) + secret_problems(top)
    return problems


def bandit_problems(top):
    """Return what Bandit finds at any severity; comments that silence it do not count."""
    run = subprocess.run(
        [sys.executable, "-m", "bandit", "-q", "-r", "--ignore-nosec", "-f", "json", "."],
        cwd=top, capture_output=True, text=True)
    if run.returncode not in (0, 1):
        raise SystemExit(f"package: Bandit did not run: {run.stderr}")
    report = json.loads(run.stdout)
    return [f"{hit['filename']}:{hit['line_number']}: {hit['test_id']} {hit['issue_text']}"
            for hit in report["results"]] + [
        f"{error['filename']}: Bandit could not read it: {error['reason']}"
        for error in report["errors"]]


def secret_problems(top):
    """Return what detect-secrets finds in any file of the package."""
    run = subprocess.run([sys.executable, "-m", "detect_secrets", "scan", "--all-files", "."],
                         cwd=top, capture_output=True, text=True)
    if run.returncode:
        raise SystemExit(f"package: detect-secrets did not run: {run.stderr}")
    return [f"{name}:{hit['line_number']}: looks like a secret ({hit['type']})."
            for name, hits in json.loads(run.stdout)["results"].items() for hit in hits]


if __name__ == "__main__":
    path = Path(sys.argv[1])
    problems = package_problems(path)
    for problem in problems:
        print(f"package: {problem}", file=sys.stderr)
    if problems:
        sys.exit(1)
    with zipfile.ZipFile(path) as package:
        count = len(package.namelist())
    print(f"package: {path}: {count} files, {path.stat().st_size} bytes; metadata, Bandit, "
          "detect-secrets and the rules of the source: nothing found")
