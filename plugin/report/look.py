"""The look of the report: paper, margins, type and colours, in one place."""
from dataclasses import dataclass

POINT_MM = 25.4 / 72


@dataclass(frozen=True)
class Paper:
    """A sheet of paper, portrait, mm."""
    name: str
    width: float
    height: float


PAPERS = {"A4": Paper("A4", 210.0, 297.0), "Letter": Paper("Letter", 215.9, 279.4)}
MARGIN = 16.0
GAP = 4.0  # between blocks

INK = "#1c2830"
QUIET = "#57646d"
ACCENT = "#1d4f73"
RULE = "#c3ccd2"
BAND = "#eef2f4"
PAPER = "#ffffff"


@dataclass(frozen=True)
class Type:
    """A style of text: size in points, line spacing as a multiple of the size."""
    size: float
    bold: bool = False
    italic: bool = False
    colour: str = INK
    spacing: float = 1.38

    @property
    def line_mm(self):
        """Height of one line, mm."""
        return self.size * POINT_MM * self.spacing

    def smaller(self, size):
        """Return the same style at another size."""
        return Type(size, self.bold, self.italic, self.colour, self.spacing)


TITLE = Type(20, bold=True, colour=ACCENT, spacing=1.25)
KICKER = Type(8.5, bold=True, colour=QUIET)
HEADING = Type(13, bold=True, colour=ACCENT, spacing=1.3)
SUBHEADING = Type(9.5, bold=True)
LEAD = Type(11, bold=True)
BODY = Type(9)
NOTE = Type(8, colour=QUIET)
NOTE_ITALIC = Type(8, italic=True, colour=QUIET)
CELL = Type(8)
CELL_HEAD = Type(7.5, bold=True, colour=QUIET)
RUNNING = Type(8, colour=QUIET)
RUNNING_BOLD = Type(8, bold=True, colour=ACCENT)
