"""Text tables as they come: their encoding, their separator, and their rows with line numbers."""
import codecs
import csv
from collections import Counter

from ..problems import InputProblem

SEPARATORS = (",", ";", "\t", "|")
LONGEST_LINE = 1_000_000  # characters; a row of readings has some hundred
SAMPLE_ROWS = 60
# What stands in for a character that no text file holds, so that its row is named, not the file.
CONTROL = "\x01"
_MARKS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"),
          (codecs.BOM_UTF16_BE, "utf-16"))


def encoding_of(chunks):
    """Return the encoding of a text file: by its byte order mark, else UTF-8, cp1252, latin-1.

    UTF-16 without a mark is known by the zeros between its letters. UTF-8 that breaks off in the
    last character is still UTF-8. cp1252 unless a byte has no meaning there.

    Parameters
        chunks  iterable of bytes, the whole file in order
    Raises   InputProblem: it is no text
    """
    decoder, utf8, cp1252, first = codecs.getincrementaldecoder("utf-8")(), True, True, True
    for chunk in chunks:
        if first:
            known = _by_the_start(chunk[:4096])
            if known:
                return known
            first = False
        if utf8:
            try:
                decoder.decode(chunk)
            except UnicodeDecodeError:
                utf8 = False
        cp1252 = cp1252 and not any(byte in chunk for byte in b"\x81\x8d\x8f\x90\x9d")
    if utf8:
        return "utf-8"
    return "cp1252" if cp1252 else "latin-1"


def _by_the_start(start):
    for mark, name in _MARKS:
        if start.startswith(mark):
            return name
    zeros, half = start.count(0), max(len(start) // 2, 1)
    if zeros > 0.3 * len(start):
        for name, at in (("utf-16-le", start[1::2]), ("utf-16-be", start[0::2])):
            if at.count(0) > 0.8 * half and zeros < 0.6 * len(start):
                return name
    controls = sum(byte < 32 and byte not in b"\t\n\r\f\x1a" for byte in start)
    if controls > 0.05 * len(start):
        raise InputProblem("it is no text table: it holds bytes that no text has. Save the table "
                           "as CSV, XLSX or ODS first.")
    return ""


def bounded_lines(file):
    """Yield the lines of an open text file; none is ever held that is longer than LONGEST_LINE.

    Raises   InputProblem: a line is longer
    """
    number = 0
    while True:
        line = file.readline(LONGEST_LINE + 1)
        if not line:
            return
        number += 1
        if len(line) > LONGEST_LINE:
            raise InputProblem(f"line {number} is longer than {LONGEST_LINE:,} characters, so it "
                               "is no line of a table. Save the table again, a row a line.")
        yield line.replace("\0", CONTROL) if "\0" in line else line


def separator_of(lines):
    """Return the separator that cuts most lines into the same number of cells, at least two.

    Ties go to the one that makes more cells. A single column of cells has the separator ",".

    Parameters
        lines  the first lines of the file
    """
    def score(separator):
        widths = [sum(1 for _ in cells) for cells in csv.reader(lines, delimiter=separator)
                  if any(cell.strip() for cell in cells)]
        wide = [width for width in widths if width > 1]
        if not wide:
            return 0, 0
        usual = max(set(wide), key=lambda width: (wide.count(width), width))
        return wide.count(usual), usual
    try:
        return max(SEPARATORS, key=score)
    except csv.Error:  # an opening quote that is never closed; the rows say so with their line
        return max(SEPARATORS, key=lambda one: sum(line.count(one) for line in lines))


class OpenQuote(list):
    """The cells of a line that a quote runs over: opened in line `opened`, not closed in it."""

    def __init__(self, cells, opened):
        super().__init__(cells)
        self.opened = opened


def rows_of_text(lines, separator):
    """Yield (line, cells) for every row, an empty line as an empty list; lines count from 1.

    A quote that is opened and not closed takes in the lines up to the next quote, or to the end.
    Where most of these lines have the separators of a row of the usual width, each comes as an
    OpenQuote, so that none is lost in a cell; a text of several lines is one cell as ever.

    Raises   InputProblem: a quote is opened and not closed, and the cell is endless
    """
    taken, widths = [], Counter()

    def told():
        for line in lines:
            taken.append(line)
            yield line
    reader = csv.reader(told(), delimiter=separator)
    while True:
        number = reader.line_num + 1
        taken.clear()
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as problem:
            raise InputProblem(f"line {number} cannot be cut into cells ({problem}). A quote is "
                               "perhaps opened there and never closed.") from problem
        if len(taken) > 1 and _whole_rows(
                taken, max(_usual(widths), len(cells)), separator):
            for place, line in enumerate(taken):
                yield number + place, OpenQuote(line.rstrip("\r\n").split(separator), number)
        else:
            if len(taken) == 1 < len(cells):
                widths[len(cells)] += 1
            yield number, cells


def _usual(widths):
    return widths.most_common(1)[0][0] if widths else 0


def _whole_rows(lines, width, separator):
    """Whether more than half of the lines have the separators of `width` cells, two at least."""
    filled = [line for line in lines if line.strip()]
    whole = sum(line.count(separator) >= width - 1 for line in filled)
    return width > 1 and whole > 1 and 2 * whole > len(filled)
