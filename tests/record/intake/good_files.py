"""Forty files as they come, and the readings that must be in the record afterwards.

Positions are those of P (longitude, latitude); the tests turn what arrived back with PROJ. Values
are in the record's units, worked by hand in the comments.
"""
import codecs
from dataclasses import dataclass, field

from plugin.core.intake.mapping import ColumnUse, Mapping
from plugin.core.intake.values_read import Answers

from .small_files import Day, Formula, SourceFile, ods, write_vector, xlsx

P = (("-92.9994160", "39.7492550"), ("-92.9982490", "39.7492550"), ("-92.9970820", "39.7501550"))
UTM = ((500050.0, 4400050.0), (500150.0, 4400050.0), (500250.0, 4400150.0))
(A, B, C) = (f"{x},{y}" for x, y in P)  # to be put into lines of CSV


@dataclass
class Good(SourceFile):
    """One good file: how it is written, what is asked for, and what must arrive.

    content  text, bytes, or a function that writes the file
    rows     dict of layer to list of rows, in order: some of the columns of each
    aside    rows set aside: number to a part of the reason
    """
    name: str
    file: str
    content: object
    kind: str
    rows: dict
    aside: dict = field(default_factory=dict)
    units: str = "us"
    wish: dict = field(default_factory=dict)


STAND = "Stop,Longitude,Latitude,Plants,Length (ft),Rows\n"
STANDS = f"1,{A},27,17.4,1\n2,{B},31,17.4,1\n3,{C},25,17.4,1\n"
STAND_ROWS = [{"stop": 1, "plants": 27, "length": 17.4, "rows": 1, "lon": -92.999416,
               "lat": 39.749255}, {"stop": 2, "plants": 31, "lon": -92.998249, "lat": 39.749255},
              {"stop": 3, "plants": 25, "lon": -92.997082, "lat": 39.750155}]
NOTES = [(*map(float, P[0]), {"seen": "B\u00f6den na\u00df", "stop": 4})]
ANSWER = {"answers": Answers(date_order="day_first")}

GOOD = [
    Good("plain CSV", "a.csv", STAND + STANDS, "stand_counts", {"stand_counts": STAND_ROWS}),
    Good("lines end as on Windows", "a.csv", (STAND + STANDS).replace("\n", "\r\n"),
         "stand_counts", {"stand_counts": STAND_ROWS}),
    Good("UTF-8 with a byte order mark", "a.csv",
         codecs.BOM_UTF8 + (STAND.replace("Rows", "Note") + f"1,{A},27,17.4,n\u00e4he\n").encode(),
         "stand_counts", {"stand_counts": [{"stop": 1, "note": "n\u00e4he"}]}),
    Good("UTF-16 with a byte order mark", "a.csv", (STAND + STANDS).encode("utf-16"),
         "stand_counts", {"stand_counts": STAND_ROWS}),
    Good("UTF-16 without one", "a.csv", (STAND + STANDS).encode("utf-16-le"),
         "stand_counts", {"stand_counts": STAND_ROWS}),
    Good("cp1252", "a.csv", (STAND.replace("Rows", "Note") + f"1,{A},27,17.4,\u201ena\u00df\u201c"
                             "\n").encode("cp1252"),
         "stand_counts", {"stand_counts": [{"note": "\u201ena\u00df\u201c"}]}),
    Good("tabs", "a.tsv", (STAND + STANDS).replace(",", "\t"), "stand_counts",
         {"stand_counts": STAND_ROWS}),
    Good("semicolons and decimal commas", "a.csv", (STAND + STANDS).replace(",", ";").replace(
        ".", ","), "stand_counts", {"stand_counts": STAND_ROWS}),
    Good("bars and quotes", "a.txt", 'Stop|Lon|Lat|Plants|Length (ft)|Note\n'
         f'1|{A.replace(",", "|")}|27|17.4|"a|b ""wet"""\n', "stand_counts",
         {"stand_counts": [{"plants": 27, "note": 'a|b "wet"'}]}),
    Good("title rows, blank lines, totals", "a.csv",
         f"Stand counts of the long piece,,,,,\n,,,,,\n{STAND}1,{A},27,17.4,1\n\n2,{B},31,17.4,1\n"
         "Total,,,58,,\nAverage,,,29,,\n", "stand_counts",
         {"stand_counts": [{"stop": 1, "plants": 27}, {"stop": 2, "plants": 31}]},
         {5: "row is empty", 7: "line of totals", 8: "line of totals"}),
    Good("metres into feet", "a.csv",  # 5.3 m / 0.3048
         f"Stop,Lon,Lat,Plants,Length (m)\n1,{A},27,5.3\n", "stand_counts",
         {"stand_counts": [{"length": 5.3 / 0.3048}]}),
    Good("inches into centimetres", "a.csv", f"Stop,Lon,Lat,Depth (in),Emerged\n1,{A},2,yes\n"
         f"1,{A},1.75,no\n1,{A},2,yes\n", "seed_depths",
         {"seed_depths": [{"depth": 5.08, "emerged": 1}, {"depth": 4.445, "emerged": 0},
                          {"depth": 5.08, "emerged": 1}]}, units="metric"),
    Good("a unit in each cell", "a.csv", f"Stop,Lon,Lat,Depth (in)\n1,{A},50 mm\n2,{B},2\"\n",
         "seed_depths", {"seed_depths": [{"depth": 50 / 25.4}, {"depth": 2.0}]}),
    Good("a row of units under the header", "a.csv",
         f"Stop,Lon,Lat,Depth\n,deg,deg,cm\n1,{A},5.08\n", "seed_depths",
         {"seed_depths": [{"depth": 2.0}]}),
    Good("profiles in long form", "a.csv", "Stop,Lon,Lat,Depth (cm),Resistance (kPa)\n"
         + "".join(f"{stop},{place},{depth},{depth * 100}\n" for stop, place in ((1, A), (2, B))
                   for depth in (5, 10, 15)), "compaction_readings",
         {"compaction_readings": [{"stop": 1, "means": "gauge"}, {"stop": 2}],
          "compaction_profile": [{"depth": d, "resistance": 100 * d} for d in (5, 10, 15)] * 2},
         units="metric"),
    Good("two insertions at a stop in long form", "a.csv", "Stop,Lon,Lat,Depth (in),psi\n"
         + "".join(f"1,{A},{depth},{100 + depth}\n" for depth in (2, 4, 6, 2, 4)),
         "compaction_readings", {
             "compaction_readings": [{"stop": 1}, {"stop": 1}],
             "compaction_profile": [{"depth": d, "resistance": 100 + d} for d in (2, 4, 6, 2, 4)]}),
    Good("profiles in wide form", "a.csv", f"Stop,Lon,Lat,psi @ 3 in,psi @ 6 in,psi @ 9 in,Cone\n"
         f"1,{A},110,220,330,small\n2,{B},100,,300,small\n", "compaction_readings",
         {"compaction_readings": [{"cone": "small"}, {"cone": "small"}],
          "compaction_profile": [
              {"depth": 3, "resistance": 110}, {"depth": 6, "resistance": 220},
              {"depth": 9, "resistance": 330}, {"depth": 3, "resistance": 100},
              {"depth": 9, "resistance": 300}]}),
    Good("wide form in other units", "a.csv",  # 10 cm; 2 MPa = 2000 kPa / 6.894757... psi
         f"Stop,Lon,Lat,10 cm (MPa),20 cm (MPa)\n1,{A},1.0,2.0\n", "compaction_readings",
         {"compaction_profile": [{"depth": 10 / 2.54, "resistance": 1000 / 6.894757293168361},
                                 {"depth": 20 / 2.54, "resistance": 2000 / 6.894757293168361}]}),
    Good("depths in a second header row", "a.csv",
         f"Stop,Lon,Lat,Resistance (psi) at depth (in),,\n,,,2,4,6\n1,{A},100,200,300\n",
         "compaction_readings", {"compaction_profile": [
             {"depth": 2, "resistance": 100}, {"depth": 4, "resistance": 200},
             {"depth": 6, "resistance": 300}]}),
    Good("forces and the cone they were read with", "a.csv",  # 40 lbf / 0.5 in2 = 80 psi
         f"Stop,Lon,Lat,Depth (in),Force (lbf)\n1,{A},3,40\n1,{A},6,100\n", "compaction_readings",
         {"compaction_profile": [{"resistance": 80}, {"resistance": 200}]}, wish={
             "mapping": Mapping((
                 ColumnUse("Stop", "stop"), ColumnUse("Lon", "x"), ColumnUse("Lat", "y"),
                 ColumnUse("Depth (in)", "compaction_profile.depth", "in"),
                 ColumnUse("Force (lbf)", "compaction_profile.resistance", "lbf")),
                 cone_area=0.5)}),
    Good("newtons per square centimetre", "a.csv",  # 100 N/cm2 = 1000 kPa
         f"Stop,Lon,Lat,Depth (cm),Resistance (N/cm\u00b2)\n1,{A},10,100\n",
         "compaction_readings", {"compaction_profile": [{"depth": 10, "resistance": 1000}]},
         units="metric"),
    Good("felt layers", "a.csv", f"Stop,Lon,Lat,Pan top (in),Pan bottom (in)\n1,{A},7,11\n",
         "compaction_readings",
         {"compaction_readings": [{"means": "felt", "felt_top": 7, "felt_bottom": 11}],
          "compaction_profile": []}),
    Good("day first, told by a day above 12", "a.csv", f"Stop,Lon,Lat,Date,Depth (in)\n"
         f"1,{A},4/5/2026,2\n2,{B},25/5/2026 14:30,2\n", "seed_depths",
         {"seed_depths": [{"taken_at": "2026-05-04T00:00:00.000"},
                          {"taken_at": "2026-05-25T14:30:00.000"}]}),
    Good("day first, told by the user", "a.csv", f"Stop,Lon,Lat,Date,Depth (in)\n1,{A},4/5/2026,2"
         "\n", "seed_depths", {"seed_depths": [{"taken_at": "2026-05-04T00:00:00.000"}]},
         wish=ANSWER),
    Good("month first with a.m. and p.m.", "a.csv", f"Stop,Lon,Lat,Date,Time,Depth (in)\n"
         f"1,{A},5/25/2026,2:05 PM,2\n2,{B},5/4/26,9:00 am,2\n", "seed_depths",
         {"seed_depths": [{"taken_at": "2026-05-25T14:05:00.000"},
                          {"taken_at": "2026-05-04T09:00:00.000"}]}),
    Good("months by name", "a.csv", f"Stop,Lon,Lat,Date,Depth (in)\n1,{A},4 May 2026,2\n"
         f"2,{B},\"May 25, 2026\",2\n", "seed_depths",
         {"seed_depths": [{"taken_at": "2026-05-04T00:00:00.000"},
                          {"taken_at": "2026-05-25T00:00:00.000"}]}),
    Good("workbook with title, dates and formulas", "a.xlsx", xlsx([
        ["Seed depths"], [], ["Stop", "Longitude", "Latitude", "Date", "Depth (in)"],
        [1, float(P[0][0]), float(P[0][1]), Day(46162), 1.75],
        [2, float(P[1][0]), float(P[1][1]), Day(46162.5), Formula("1+1", 2)]]), "seed_depths",
        {"seed_depths": [{"taken_at": "2026-05-20T00:00:00.000", "depth": 1.75},
                         {"taken_at": "2026-05-20T12:00:00.000", "depth": 2}]}),
    Good("open document spreadsheet", "a.ods", lambda path: ods(path, [
        ["Stop", "Longitude", "Latitude", "Depth (in)"],
        [1.0, float(P[0][0]), float(P[0][1]), 1.75]]), "seed_depths",
        {"seed_depths": [{"stop": 1, "depth": 1.75}]}),
    Good("waypoints", "a.gpx", lambda path: write_vector(path, "GPX", [
        (float(x), float(y), {"name": str(n), "desc": "yellow leaves"})
        for n, (x, y) in enumerate(P[:2], 1)], name="waypoints"), "scout_notes",
        {"scout_notes": [{"stop": 1, "note": "yellow leaves"}, {"stop": 2}]}),
    Good("waypoints with universal times, told by how much they differ", "a.gpx",
         '<?xml version="1.0"?><gpx version="1.1" creator="x" xmlns="http://www.topografix.com/'
         f'GPX/1/1"><wpt lat="{P[0][1]}" lon="{P[0][0]}"><time>2026-05-20T02:30:00Z</time><name>5'
         '</name><desc>ponding</desc></wpt></gpx>', "scout_notes",
         {"scout_notes": [{"stop": 5, "taken_at": "2026-05-19T21:30:00.000", "note": "ponding"}]},
         wish={"answers": Answers(utc_offset_h=-5)}),
    Good("latitude and longitude in one cell", "a.csv", "Stop,Position,Depth (in)\n"
         f"1,\"{P[0][1]}, {P[0][0]}\",2\n", "seed_depths",
         {"seed_depths": [{"lon": -92.999416, "lat": 39.749255}]}),
    Good("shapefile in UTM", "a.shp", lambda path: write_vector(path, "ESRI Shapefile", [
        (*UTM[0], {"stop": 1, "depth_cm": 5.08})], crs=32615), "seed_depths",
        {"seed_depths": [{"stop": 1, "depth": 2.0, "x": 500050.0, "y": 4400050.0}]}),
    Good("GeoJSON", "a.geojson", lambda path: write_vector(path, "GeoJSON", NOTES), "scout_notes",
         {"scout_notes": [{"seen": "B\u00f6den na\u00df", "stop": 4}]}),
    Good("GeoPackage", "a.gpkg", lambda path: write_vector(path, "GPKG", NOTES), "scout_notes",
         {"scout_notes": [{"seen": "B\u00f6den na\u00df", "stop": 4}]}),
    Good("KML", "a.kml", f'<?xml version="1.0" encoding="UTF-8"?><kml xmlns="http://www.opengis.net'
         '/kml/2.2"><Document><Placemark><name>7</name><description>ponding</description><Point>'
         f'<coordinates>{A},0</coordinates></Point></Placemark></Document></kml>', "scout_notes",
         {"scout_notes": [{"stop": 7, "note": "ponding"}]}),
    Good("eastings and northings in a CRS of their own", "a.csv",
         "Stop,Easting,Northing,Depth (in)\n1,500050,4400050,2\n", "seed_depths",
         {"seed_depths": [{"x": 500050.0, "y": 4400050.0}]}, wish={"crs": "EPSG:32615"}),
    Good("degrees, minutes and seconds, accepted", "a.csv", "Stop;Lat;Lon;Depth (in)\n"
         "1;39\u00b044'57.318\"N;92\u00b059'57.8976\"W;2\n", "seed_depths",
         {"seed_depths": [{"lon": -92.999416, "lat": 39.749255}]},
         wish={"answers": Answers(angles="parts")}),
    Good("swapped coordinates, accepted", "a.csv", f"Stop,Lat,Lon,Depth (in)\n1,{A},2\n",
         "seed_depths", {"seed_depths": [{"lon": -92.999416, "lat": 39.749255}]},
         wish={"axes": "swapped"}),
    Good("soil samples with ranges of depth", "a.csv",
         f"Sample ID,Lon,Lat,Depth (in),pH,OM %,P ppm,K ppm\n017,{A},0-7,6.2,3.1,22,180\n"
         f"018,{B},0 to 12,5.9,2.8,15,140\n", "probe_points",
         {"probe_points": [{"sample_number": "017", "top_depth": 0, "bottom_depth": 7, "ph": 6.2,
                            "organic_matter": 3.1, "phosphorus_ppm": 22, "potassium_ppm": 180},
                           {"sample_number": "018", "bottom_depth": 12}]}),
    Good("rows of a stop counted each in a column", "a.csv",
         f"Stop,Lon,Lat,Length (ft),Row 1,Row 2,Row 3\n1,{A},17.4,27,30,24\n", "stand_counts",
         {"stand_counts": [{"stop": 1, "length": 17.4}],
          "row_counts": [{"row_unit": 1, "plants": 27}, {"row_unit": 2, "plants": 30},
                         {"row_unit": 3, "plants": 24}]}),
    Good("rows of a stop counted each in a line", "a.csv", "Stop,Lon,Lat,Row,Plants,Length (ft)\n"
         f"1,{A},4,27,17.4\n1,{A},5,30,17.4\n2,{B},4,25,17.4\n", "stand_counts",
         {"stand_counts": [{"stop": 1}, {"stop": 2}],
          "row_counts": [{"row_unit": 4, "plants": 27, "length": 17.4},
                         {"row_unit": 5, "plants": 30}, {"row_unit": 4, "plants": 25}]}),
    Good("harvest in metric units with a decimal comma in one column", "a.csv",
         # 12.5 t/ha; 1.8 kg/s; 6 m; crop and season as the machine wrote them
         "Longitude;Latitude;Time stamp;Flow (kg/s);Moisture (%);Swath (m);Yield (t/ha);Year;Crop\n"
         f"{A.replace(',', ';')};2025-10-05 10:00:01;1,8;16,5;6,0;12,5;2025;Corn\n",
         "yield_points", {"yield_points": [
             {"flow": 1.8, "moisture": 16.5, "swath": 6.0, "dry_yield": 12.5, "season": 2025,
              "crop": "Corn", "taken_at": "2025-10-05T10:00:01.000"}]}, units="metric"),
    Good("bushels into tonnes by the field's crop", "a.csv",  # 200 bu/ac * 56 lb: 12.5537... t/ha
         f"Longitude,Latitude,Date,Dry yield (bu/ac)\n{A},2025-10-05,200\n", "yield_points",
         {"yield_points": [{"dry_yield": 200 * 56 * 0.45359237 / 1000 / 0.40468564224,
                            "season": 2025}]}, units="metric"),
    Good("impossible values are kept", "a.csv", f"Stop,Lon,Lat,Depth (in)\n1,{A},-3\n2,{B},999\n",
         "seed_depths", {"seed_depths": [{"depth": -3}, {"depth": 999}]}),
    Good("markup and SQL in a note are text", "a.csv", "Stop,Lon,Lat,Depth (in),Note\n"
         f"1,{A},2,\"'); DROP TABLE field; --\"\n2,{B},2,<script>alert(1)</script>\n"
         f"3,{C},2,\"=HYPERLINK(\"\"http://x\"\")\"\n", "seed_depths",
         {"seed_depths": [{"note": "'); DROP TABLE field; --"},
                          {"note": "<script>alert(1)</script>"},
                          {"note": '=HYPERLINK("http://x")'}]}),
]
