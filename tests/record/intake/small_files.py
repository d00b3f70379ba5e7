"""Files as people send them, written by hand so that a test shows what is in them."""
import io
import struct
import zipfile
from xml.sax.saxutils import escape

from osgeo import gdal, ogr, osr

from plugin.record.intake.importing import Wish

NS = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
XLSX_PARTS = {
    "[Content_Types].xml":
        '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default '
        'Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Default Extension="xml" ContentType="application/xml"/><Override PartName="/xl/'
        'workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.'
        'sheet.main+xml"/><Override PartName="/xl/worksheets/sheet1.xml" ContentType="application/'
        'vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/><Override PartName="/xl/'
        'styles.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.'
        'styles+xml"/></Types>',
    "_rels/.rels":
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        '<Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/'
        'relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>',
    "xl/workbook.xml":
        f'<workbook {NS} xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/'
        'relationships"><sheets><sheet name="Readings" sheetId="1" r:id="rId1"/></sheets>'
        '</workbook>',
    "xl/_rels/workbook.xml.rels":
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        '<Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/'
        'relationships/worksheet" Target="worksheets/sheet1.xml"/><Relationship Id="rId2" '
        'Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/styles" '
        'Target="styles.xml"/></Relationships>',
    "xl/styles.xml":
        f'<styleSheet {NS}><cellXfs count="3"><xf numFmtId="0"/><xf numFmtId="14"/>'
        '<xf numFmtId="22"/></cellXfs></styleSheet>',
}


class Day:
    """A cell of a spreadsheet that holds a date, as the number of its day."""

    def __init__(self, number):
        self.number = number


class Formula:
    """A cell of a spreadsheet that holds a formula, with the value it had when last saved."""

    def __init__(self, text, cached=None):
        self.text, self.cached = text, cached


def xlsx(rows, **replaced):
    """Return the bytes of a workbook with one sheet; None is an empty cell."""
    lines = []
    for number, cells in enumerate(rows, 1):
        inside = "".join(_cell(f"{chr(65 + place)}{number}", cell)
                         for place, cell in enumerate(cells) if cell is not None)
        if inside:
            lines.append(f'<row r="{number}">{inside}</row>')
    parts = {**XLSX_PARTS, "xl/worksheets/sheet1.xml":
             f'<worksheet {NS}><sheetData>{"".join(lines)}</sheetData></worksheet>', **replaced}
    return zipped({name: '<?xml version="1.0" encoding="UTF-8"?>' + text
                   if isinstance(text, str) else text for name, text in parts.items()})


def _cell(place, cell):
    if isinstance(cell, Formula):
        value = "" if cell.cached is None else f"<v>{escape(str(cell.cached))}</v>"
        return f'<c r="{place}"><f>{escape(cell.text)}</f>{value}</c>'
    if isinstance(cell, Day):
        return f'<c r="{place}" s="{2 if cell.number % 1 else 1}"><v>{cell.number!r}</v></c>'
    if isinstance(cell, str):
        return f'<c r="{place}" t="inlineStr"><is><t>{escape(cell)}</t></is></c>'
    return f'<c r="{place}"><v>{cell!r}</v></c>'


def zipped(parts):
    """Return the bytes of a zip file of texts or bytes."""
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return file.getvalue()


def write_vector(path, driver, rows, *, crs=4326, name="readings", geometry=ogr.wkbPoint):
    """Write rows (x, y, {column: value}) with a driver; x None leaves the geometry out."""
    kinds = {int: ogr.OFTInteger64, float: ogr.OFTReal, str: ogr.OFTString}
    reference = osr.SpatialReference()
    reference.ImportFromEPSG(crs)
    reference.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    dataset = gdal.GetDriverByName(driver).Create(str(path), 0, 0, 0, gdal.GDT_Unknown)
    layer = dataset.CreateLayer(name, reference if geometry != ogr.wkbNone else None, geometry)
    if driver != "GPX":
        for column, value in rows[0][2].items():
            layer.CreateField(ogr.FieldDefn(column, kinds[type(value)]))
    for x, y, values in rows:
        feature = ogr.Feature(layer.GetLayerDefn())
        for column, value in values.items():
            feature.SetField(column, value)
        if x is not None:
            feature.SetGeometry(ogr.CreateGeometryFromWkt(f"POINT ({x!r} {y!r})"))
        layer.CreateFeature(feature)
    feature = layer = dataset = None


def ods(path, rows):
    """Write an ODS of texts and numbers through OGR, the first row its header."""
    dataset = gdal.GetDriverByName("ODS").Create(str(path), 0, 0, 0, gdal.GDT_Unknown)
    layer = dataset.CreateLayer("Readings")
    for name, value in zip(rows[0], rows[1]):
        layer.CreateField(ogr.FieldDefn(name, ogr.OFTReal if isinstance(value, float)
                                        else ogr.OFTString))
    for row in rows[1:]:
        feature = ogr.Feature(layer.GetLayerDefn())
        for place, value in enumerate(row):
            feature.SetField(place, value)
        layer.CreateFeature(feature)
    feature = layer = dataset = None


def geotagged_jpeg(path, longitude, latitude):
    """Write a small JPEG whose EXIF block holds a position in degrees, minutes and seconds."""
    memory = gdal.GetDriverByName("MEM").Create("", 8, 8, 1)
    gdal.GetDriverByName("JPEG").CreateCopy(str(path), memory)
    memory = None
    plain = path.read_bytes()
    path.write_bytes(plain[:2] + _exif(longitude, latitude) + plain[2:])
    return path


def _exif(longitude, latitude):
    """An APP1 segment (CIPA DC-008): TIFF header, IFD0 that points to a GPS IFD of four tags."""
    gps_at, values_at = 26, 26 + 2 + 4 * 12 + 4

    def reference(tag, letter):
        return struct.pack("<HHI4s", tag, 2, 2, letter)

    def angle(tag, at):
        return struct.pack("<HHII", tag, 5, 3, at)
    tags = (reference(1, b"N" if latitude >= 0 else b"S") + angle(2, values_at)
            + reference(3, b"E" if longitude >= 0 else b"W") + angle(4, values_at + 24))
    tiff = (struct.pack("<2sHI", b"II", 42, 8)
            + struct.pack("<HHHIII", 1, 0x8825, 4, 1, gps_at, 0)
            + struct.pack("<H", 4) + tags + struct.pack("<I", 0)
            + _parts(latitude) + _parts(longitude))
    body = b"Exif\0\0" + tiff
    return b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body


def _parts(angle):
    size = abs(angle)
    degrees, minutes = int(size), int(size % 1 * 60)
    seconds = round((size - degrees - minutes / 60) * 3600 * 10_000)
    return struct.pack("<6I", degrees, 1, minutes, 1, seconds, 10_000)


class SourceFile:
    """What files to import share: `file`, `kind`, `wish`, and `content` as text, bytes, a function
    of the path, or None where there is no file.
    """

    def wished(self):
        return Wish(self.kind, **self.wish)

    def write(self, folder):
        path = folder / self.file
        if callable(self.content):
            self.content(path)
        elif isinstance(self.content, bytes):
            path.write_bytes(self.content)
        elif self.content is not None:
            path.write_text(self.content, encoding="utf-8", newline="")
        return path
