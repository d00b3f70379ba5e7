"""The rules that the source must keep, checked by reading it: who may import what, and what the
code that users install must not hold.

Run as a script with the root of the project, it prints each place that breaks a rule and exits 1.
"""
import ast
import sys
from pathlib import Path

CORE_MAY_IMPORT = set(sys.stdlib_module_names) | {"numpy", "scipy"}
QT_BINDINGS = {"PyQt4", "PyQt5", "PyQt6", "PySide2", "PySide6", "sip"}
# which parts of plugin/ a part never imports
ONE_WAY = {
    "record": {"algorithms", "gui", "report"},
    "layers": {"algorithms", "gui", "record", "report"},
    "report": {"algorithms", "gui"},
    "algorithms": {"gui"},
}
# modules that the upload scan of the public plugin repository refuses, or that have no place here
NOT_SHIPPED = {
    "random": "use numpy.random.default_rng with a seed",
    "pickle": "use JSON",
    "subprocess": "call the library itself",
    "xml.etree": "use qgis.PyQt.QtXml",
    "plugin": "import relatively: the folder has another name once installed",
    "spadework": "import relatively: the folder has another name in a checkout",
    "sample_project": "it is not in the package",
    "tests": "they are not in the package",
}
NO_CALLS = {"print": "use feedback or logging", "eval": "parse it", "exec": "call it"}


def broken_in(path, source):
    """Return what the file breaks, as a list of sentences "path:line: what".

    path    relative to the root of the project, with forward slashes; it decides which rules hold
    source  the text of the file
    """
    parts = path.split("/")
    tree = ast.parse(source, path)
    shipped = parts[0] == "plugin" or path == "__init__.py"
    part = parts[1] if parts[0] == "plugin" and len(parts) > 2 else ""
    found = []
    for node in ast.walk(tree):
        for what in _imports_broken(node, parts, part, shipped):
            found.append((node.lineno, what))
        if shipped:
            for what in _code_broken(node):
                found.append((node.lineno, what))
    return [f"{path}:{line}: {what}" for line, what in sorted(found)]


def _imports_broken(node, parts, part, shipped):
    for module, level in _imported(node):
        if level == 0:
            if module.split(".")[0] in QT_BINDINGS:
                yield f"imports {module}; Qt comes from qgis.PyQt alone"
            elif part == "core" and module.split(".")[0] not in CORE_MAY_IMPORT:
                yield f"core imports {module}; it may import numpy, scipy and the standard library"
            if shipped:
                for name, remedy in NOT_SHIPPED.items():
                    if module == name or module.startswith(name + "."):
                        yield f"imports {module}; {remedy}"
            continue
        target = _resolved(parts, module, level)
        if target[:1] != ["plugin"] and parts[0] == "plugin":
            yield f"the relative import {'.' * level}{module} leaves plugin/"
        elif part == "core" and target[1:2] != ["core"]:
            yield f"core imports {'.'.join(target)}; it may import nothing of the plugin but core"
        elif target[1:2] and target[1] in ONE_WAY.get(part, ()):
            yield f"{part} imports {target[1]}, which lies above it"


def _imported(node):
    """Yield (module, level) for each thing that an import statement or call brings in."""
    if isinstance(node, ast.Import):
        for alias in node.names:
            yield alias.name, 0
    elif isinstance(node, ast.ImportFrom):
        for alias in node.names:
            # "from . import x" names the module x; "from xml import etree" names xml.etree
            yield ".".join(filter(None, (node.module, alias.name))), node.level
    elif (isinstance(node, ast.Call) and node.args and isinstance(node.args[0], ast.Constant)
          and isinstance(node.args[0].value, str)
          and _name(node.func) in ("__import__", "import_module")):
        yield node.args[0].value.lstrip("."), 0


def _resolved(parts, module, level):
    """Return the dotted path, as a list, that a relative import in the file `parts` means."""
    package = parts[:-1]
    return package[:len(package) - (level - 1)] + module.split(".")


def _code_broken(node):
    if isinstance(node, ast.Assert):
        yield "assert; raise an error that says what is wrong"
    elif isinstance(node, ast.Call) and getattr(node.func, "id", "") in NO_CALLS:
        yield f"{node.func.id}(); {NO_CALLS[node.func.id]}"
    elif isinstance(node, ast.ExceptHandler):
        broad = node.type is None or _name(node.type) in ("Exception", "BaseException")
        if node.type is None:
            yield "except without a class; name what can go wrong"
        if broad and all(isinstance(line, ast.Pass) for line in node.body):
            yield "an error of any kind is swallowed"


def _name(node):
    return node.attr if isinstance(node, ast.Attribute) else getattr(node, "id", "")


def broken_rules(root):
    """Return what the Python files of the project (not those of .venv and .build) break."""
    root = Path(root)
    paths = [root / "__init__.py"]
    for folder in ("plugin", "sample_project", "tests", "bench", ".ci"):
        paths += sorted((root / folder).rglob("*.py"))
    return [line for path in paths if path.exists()
            for line in broken_in(path.relative_to(root).as_posix(), path.read_text("utf-8"))]


if __name__ == "__main__":
    lines = broken_rules(sys.argv[1])
    print("\n".join(lines), end="\n" if lines else "")
    sys.exit(bool(lines))
