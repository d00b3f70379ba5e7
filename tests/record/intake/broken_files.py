"""Sixty files that are broken, doubtful or meant to do harm, and what is said of each."""
import struct
from dataclasses import dataclass, field

from plugin.core.intake.mapping import ColumnUse, Mapping

from .good_files import A, B, C, P
from .small_files import Day, Formula, SourceFile, xlsx, zipped

HEAD = "Stop,Lon,Lat,Date,Depth (in),Note,Photo\n"
GOOD_ROW = f"9,{C},2026-05-20,2,fine,\n"


@dataclass
class Broken(SourceFile):
    """One broken file.

    words     a part of the message of the refusal, or of the reason of the row set aside
    row       number of the row set aside; None where the file is refused
    """
    name: str
    file: str
    content: object
    words: str
    row: int = None
    kind: str = "seed_depths"
    wish: dict = field(default_factory=dict)


def row(name, cells, words, kind="seed_depths", **wish):
    """A table whose second row is broken: it alone is set aside."""
    return Broken(name, "a.csv", f"{HEAD}{cells}\n{GOOD_ROW}", words, 2, kind, wish)


def refused(name, content, words, file="a.csv", kind="seed_depths", **wish):
    return Broken(name, file, content, words, None, kind, wish)


def long_line(path):
    """A single line of 200 MB."""
    with open(path, "wb") as file:
        file.write(HEAD.encode() + b"1,")
        for _ in range(200):
            file.write(b"x" * (1 << 20))


def bomb(path):
    """A workbook of 300 KB that unpacks to 300 MB."""
    path.write_bytes(zipped({"[Content_Types].xml": "<Types/>",
                             "xl/worksheets/sheet1.xml": b" " * (300 << 20)}))


def lying_bomb(path):
    """The same, but it declares that it is small, in its directory and in each header."""
    bomb(path)
    size = struct.pack("<I", 300 << 20)
    path.write_bytes(path.read_bytes().replace(size, struct.pack("<I", 100)))


ENTITIES = ('<!DOCTYPE a [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]>'
            "<worksheet><sheetData/></worksheet>")
WHOLE = xlsx([["Stop", "Lon", "Lat", "Depth (in)"], [1, *map(float, P[0]), 2.0]])

BROKEN = [
    refused("nothing there", None, "There is no file"),
    refused("empty", b"", "a.csv is empty"),
    refused("blank lines alone", "\n\n  \n", "holds no row"),
    refused("a header alone", HEAD, "no row below the header"),
    refused("no header", "1,2,3\n4,5,6\n", "no row with the names of the columns"),
    refused("binary under a table's name", bytes(range(256)) * 64, "no text table"),
    refused("a picture under a table's name", b"\x89PNG\r\n\x1a\n" + bytes(4000), "no text table"),
    refused("a workbook under a table's name", WHOLE, "no text table"),
    refused("a line of 200 MB", long_line, "line 2 is longer than 1,000,000 characters"),
    refused("a quote never closed", f"{HEAD}1,{A},2026-05-20,2,\"wet" + "x,y\n" * 40_000,
            "never closed"),
    refused("a format nobody reads", "x", "files ending in .exe are not read", "a.exe"),
    refused("an old workbook", b"\xd0\xcf\x11\xe0", "files ending in .xls are not read", "a.xls"),
    refused("a workbook cut off", WHOLE[:len(WHOLE) // 2], "damaged or cut off", "a.xlsx"),
    refused("a workbook with a broken part", WHOLE[:200] + b"\0" * 60 + WHOLE[260:],
            "a.xlsx", "a.xlsx"),
    refused("a zip that is no workbook", zipped({"readme.txt": "hello"}), "cannot be read",
            "a.xlsx"),
    refused("a bomb", bomb, "unpacks to more than 256 MB", "a.xlsx"),
    refused("a bomb that calls itself small", lying_bomb, "a.xlsx", "a.xlsx"),
    refused("a bomb as ODS", bomb, "unpacks to more than 256 MB", "a.ods"),
    refused("a bomb as KMZ", bomb, "unpacks to more than 256 MB", "a.kmz"),
    refused("thousands of parts", zipped({f"p{n}": "" for n in range(2001)}), "unpacks to more",
            "a.xlsx"),
    refused("XML entities", xlsx([["a"]], **{"xl/worksheets/sheet1.xml": ENTITIES}),
            "declares XML entities", "a.xlsx"),
    refused("GeoJSON cut off", '{"type": "FeatureCollection", "features": [{"type": "Fea',
            "cannot be read", "a.geojson"),
    refused("JSON that is no map", '{"a": 1}', "cannot be read", "a.json"),
    refused("KML that is no XML", "<kml><Placemark>", "a.kml", "a.kml"),
    refused("GPX that is no XML", "GPS data", "cannot be read", "a.gpx"),
    refused("a GeoPackage that is none", "SQLite format 3\0" + "x" * 3000, "a.gpkg", "a.gpkg"),
    refused("a shapefile without its parts", b"\0\0\x27\x0a" + bytes(96), "a.shp", "a.shp"),
    refused("columns nobody knows", "alpha,beta\nq,1\n", "none of its columns"),
    refused("another kind of readings", f"Stop,Lon,Lat,Moisture (%)\n1,{A},15\n",
            "none of its columns (Stop, Lon, Lat, Moisture (%)) holds values of seed depths"),
    refused("a sheet that is not there", WHOLE, "no sheet or layer 'Data'; it has Readings",
            "a.xlsx", table="Data"),
    refused("a header row that is not there", HEAD + GOOD_ROW, "row 30 holds no header",
            header_row=30),
    refused("a mapping of another file", HEAD + GOOD_ROW, "names the column 'Tiefe'",
            mapping=Mapping((ColumnUse("Tiefe", "depth"),))),
    refused("a mapping to nothing", HEAD + GOOD_ROW, "as colour, which these readings do not",
            mapping=Mapping((ColumnUse("Stop", "colour"), ColumnUse("Depth (in)", "depth")))),
    refused("a unit that cannot be", HEAD + GOOD_ROW, "psi cannot be expressed in in",
            mapping=Mapping((ColumnUse("Depth (in)", "depth", "psi"),))),
    refused("two columns for one value", HEAD + GOOD_ROW, "reads two columns as depth",
            mapping=Mapping((ColumnUse("Depth (in)", "depth"), ColumnUse("Stop", "depth")))),
    refused("a word that is not allowed for all rows", HEAD + GOOD_ROW, "does not have",
            mapping=Mapping((ColumnUse("Depth (in)", "depth"),), {"method": "guess"})),
    refused("forces without a cone", f"Stop,Lon,Lat,Depth (in),Force (lbf)\n1,{A},3,40\n",
            "lbf is a force", kind="compaction_readings"),
    refused("dates that can be read in two ways", HEAD + f"1,{A},4/5/2026,2,,\n",
            "'4/5/2026' can be read in two ways, and no day is above 12. Say with DATE_ORDER"),
    refused("a thousand or a decimal", "Stop;Lon;Lat;Depth (in)\n1;-92;39;\"1,234\"\n",
            "'1,234' may be a thousand or a decimal. Say which with DECIMAL"),
    refused("universal time", HEAD + f"1,{A},2026-05-20T14:00:00Z,2,,\n",
            "Say with UTC_OFFSET by how many hours"),
    refused("degrees and minutes", "Stop,Lat,Lon,Depth (in)\n1,39 44.9553,-92 59.96496,2\n",
            "looks like degrees and minutes; it would be read as 39.749255 degrees"),
    refused("degrees and minutes run together", "Stop,Lat,Lon,Depth (in)\n"
            "1,3944.9553,-9259.96496,2\n", "looks like degrees and minutes"),
    refused("longitude and latitude swapped", f"Stop,Lat,Lon,Depth (in)\n1,{A},2\n",
            "with longitude and latitude swapped they lie 0."),
    refused("readings of another county", "Stop,Lat,Lon,Depth (in)\n1,42.5,-92,2\n",
            "km from the field. Check SOURCE_CRS"),
    refused("positions in metres without a CRS", "Stop,X,Y,Depth (in)\n1,500050,4400050,2\n",
            "Give their CRS as SOURCE_CRS"),
    refused("a tape without marks", "Stop,Row\n1,2\n", "holds values of plants along the tape",
            kind="plant_positions"),
    refused("laboratory results without numbers", "pH,OM\n6,3\n", "no column holds the sample",
            kind="laboratory"),
    row("a row cut off", f"1,{A},2026-05-20,2,\"a\nb\",,,extra", "cells, but there are 7 columns"),
    Broken("the file breaks off in a row", "a.csv", f"{HEAD}{GOOD_ROW}1,{A},20", "breaks off", 3),
    row("latitude 95", "1,-92.999416,95,2026-05-20,2,,", "no place on earth"),
    row("no position", "1,,,2026-05-20,2,,", "no position, and the record has no place for stop"),
    row("a position that is no number", "1,east,39.7,2026-05-20,2,,", "'east' is no angle"),
    row("infinity", f"1,{A},2026-05-20,inf,,", "'inf' is no number"),
    row("a number beyond all", f"1,{A},2026-05-20,1e999,,", "'1e999' is no number"),
    row("words for a number", f"1,{A},2026-05-20,two,,", "'two' is no number"),
    row("a formula for a number", f"1,{A},2026-05-20,=1+1,,", "is a formula"),
    row("a command for a number", f"1,{A},2026-05-20,\"=cmd|' /C calc'!A0\",,", "is a formula"),
    row("half a stop", f"1.5,{A},2026-05-20,2,,", "1.5 is no whole number"),
    row("a stop beyond all", f"99999999999,{A},2026-05-20,2,,", "is beyond 2147483647"),
    row("a NUL byte", f"1,{A},2026-05-20,2,a\0b,", "control character"),
    row("a control character", f"1,{A},2026-05-20,2,a\x07b,", "control character"),
    row("year 1899", f"1,{A},1899-12-30,2,,", "not between 1950 and 2100"),
    row("the 31st of February", f"1,{A},2026-02-31,2,,", "no day of the calendar"),
    row("25 o'clock", f"1,{A},2026-02-01 25:00,2,,", "no time of the day"),
    Broken("an error in a workbook's cell", "a.xlsx", xlsx([
        ["Stop", "Lon", "Lat", "Depth (in)"], [1, *map(float, P[0]), Formula("1/0", "#DIV/0!")],
        [9, *map(float, P[2]), 2.0]]), "'#DIV/0!' is no number", 2),
    Broken("day zero of a workbook", "a.xlsx", xlsx([
        ["Stop", "Lon", "Lat", "Depth (in)", "Date"], [1, *map(float, P[0]), 2.0, Day(1)],
        [9, *map(float, P[2]), 2.0, Day(46162)]]), "not between 1950 and 2100", 2),
    Broken("a word that is not one of the list", "a.csv",
           f"Stop,Lon,Lat,Plants,Method\n1,{A},20,guess\n9,{C},20,hoop\n",
           "'guess' is not one of row_length, wheel, hoop", 2, "stand_counts"),
    Broken("a profile with a bad depth", "a.csv", "Stop,Lon,Lat,Depth (in),psi\n"
           f"1,{A},x,100\n9,{C},2,100\n", "'x' is no number", 2, "compaction_readings"),
    Broken("a line for a point", "a.geojson", '{"type":"FeatureCollection","features":[{"type":'
           '"Feature","properties":{"stop":null,"depth":2},"geometry":{"type":"LineString",'
           f'"coordinates":[[{A}],[{B}]]}}}},{{"type":"Feature","properties":{{"stop":9,"depth":2'
           f'}},"geometry":{{"type":"Point","coordinates":[{C}]}}}}]}}', "no position", 0),
    *(Broken(f"a photo that leads to {path}", "a.csv", "Stop,Lon,Lat,Plants,Photo\n"
             f"1,{A},20,{path}\n9,{C},20,ok.jpg\n", "leads out of the folder", 2, "stand_counts")
      for path in ("../../etc/passwd", "/etc/passwd", "C:\\x.jpg", "\\\\host\\x.jpg",
                   "a/../../x.jpg", "file:///x.jpg", "~/x.jpg")),
]
