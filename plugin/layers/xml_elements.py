"""XML read into plain elements, by Qt's stream reader."""
from qgis.PyQt.QtCore import QXmlStreamReader

from ..core.deliver.xml_text import Element
from ..core.problems import InputProblem


def read_elements(content):
    """Return the root Element of an XML document given as bytes; text between elements is dropped.

    Raises   InputProblem: it is not well formed
    """
    reader, open_elements, root = QXmlStreamReader(content), [], None
    while not reader.atEnd():
        reader.readNext()
        if reader.isStartElement():
            attributes = reader.attributes()
            open_elements.append((reader.name(), {
                _text(attributes.at(number).name()): _text(attributes.at(number).value())
                for number in range(attributes.count())}, []))
        elif reader.isEndElement():
            tag, given, children = open_elements.pop()
            root = Element(_text(tag), given, tuple(children))
            if open_elements:
                open_elements[-1][2].append(root)
    if reader.hasError() or root is None:
        raise InputProblem(f"line {reader.lineNumber()}: {reader.errorString()}")
    return root


def _text(reference):
    """Return the text of what Qt hands out: a str, or a view of one in some bindings."""
    return reference if isinstance(reference, str) else reference.toString()
