"""Reading a PDF back with Poppler's tools, which have nothing to do with what wrote it."""
import shutil
import subprocess


def words_of(path, *options):
    """Return the text of a PDF with all white space, line ends too, as single spaces."""
    return " ".join(_run("pdftotext", *options, str(path), "-").split())


def squeezed(text):
    """Return a text without any white space: how a wrapped word or line compares."""
    return "".join(text.split())


def pages_of(path):
    """Return the text of each page."""
    return [" ".join(page.split()) for page in
            _run("pdftotext", "-layout", str(path), "-").split("\f")[:-1]]


def page_sizes(path):
    """Return the set of page sizes, (width, height) in points."""
    found = set()
    for line in _run("pdfinfo", "-l", "999", str(path)).splitlines():
        if line.startswith("Page ") and "size:" in line:
            width, _, height = line.split("size:")[1].split()[:3]
            found.add((float(width), float(height)))
    return found


def _run(tool, *arguments):
    assert shutil.which(tool), f"{tool} is missing: install Poppler's tools (poppler-utils)"
    return subprocess.run([tool, *arguments], check=True, capture_output=True,
                          encoding="utf-8").stdout
