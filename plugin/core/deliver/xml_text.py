"""XML as plain elements, and the text of it, free of locale and of what XML cannot hold."""
import re
import unicodedata
from dataclasses import dataclass, field

from ..problems import InputProblem

# What XML 1.0 has no way to write: control signs, halves of surrogate pairs, two non-characters.
_UNSAYABLE = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
# A parser would turn a bare tab or line end in an attribute into a blank.
_ESCAPES = {"&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;", "\t": "&#9;", "\n": "&#10;",
            "\r": "&#13;"}
LONGEST_NAME = 32  # characters of a designator in ISO 11783-10
FINEST = 9  # decimals of a degree in task file 4.3; some 0.1 mm


@dataclass(frozen=True)
class Element:
    """An XML element without text of its own: its name, attributes as text, and children."""
    tag: str
    attributes: dict = field(default_factory=dict)
    children: tuple = ()

    def all(self, tag):
        """Return the children of a tag, in order."""
        return [child for child in self.children if child.tag == tag]

    def walk(self):
        """Yield this element and all below it, in document order."""
        yield self
        for child in self.children:
            yield from child.walk()


def xml_text(root):
    """Return the document of a root Element, one element a line."""
    lines = ['<?xml version="1.0" encoding="UTF-8"?>']
    _write(root, 0, lines)
    return "\n".join(lines) + "\n"


def escaped(text):
    """Return text for between double quotes; signs that XML cannot hold become U+FFFD."""
    return "".join(_ESCAPES.get(sign, sign) for sign in _UNSAYABLE.sub("\ufffd", text))


def designator(text):
    """Return a name as task files take it: one line of at most 32 characters."""
    return one_line(text, LONGEST_NAME)


def one_line(text, longest):
    """Return text as one line of at most so many characters.

    Runs of blanks become one. What is longer is cut between characters: an accent that is a sign
    of its own is not parted from its letter.
    """
    line = " ".join(_UNSAYABLE.sub(" ", str(text)).split())
    end = longest
    while 0 < end < len(line) and unicodedata.combining(line[end]):
        end -= 1
    return line[:end].rstrip()


def fixed(value, decimals=FINEST):
    """Return a number as XML decimals ask: a point, no exponent, no needless zeros.

    Raises   InputProblem: it is not finite
    """
    text = f"{value:.{decimals}f}"
    if not text.lstrip("-").replace(".", "").isdigit():
        raise InputProblem(f"{value} is no number that a file can hold.")
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _write(element, depth, lines):
    attributes = "".join(f' {name}="{escaped(value)}"' for name, value in
                         element.attributes.items())
    if not element.children:
        lines.append(f"{' ' * depth}<{element.tag}{attributes}/>")
        return
    lines.append(f"{' ' * depth}<{element.tag}{attributes}>")
    for child in element.children:
        _write(child, depth + 1, lines)
    lines.append(f"{' ' * depth}</{element.tag}>")
