"""How maps and what belongs to them share pages: no page next to empty, nothing left alone."""
import copy

import pytest

from tests.report.field_call_folder import boundary_wkb, crs_wkt, summary


@pytest.mark.parametrize(("heights", "room", "least", "shared"), [
    ([40, 30, 20], 200, 100, 3),  # 100 + 90 = 190 fit
    ([40, 30, 20, 100], 200, 100, 3),  # 100 more do not; they fill 0.4 of the next page
    ([40, 30, 20, 15], 200, 100, 1),  # 15, 35 are next to nothing on a page of 250; 65 still are
    ([40, 30, 60, 30], 200, 100, 2),  # 90 left over: above 0.35 of 250 = 87.5
    ([120, 10], 200, 100, 0),  # already the first is too high
    ([], 200, 100, 0)])
def test_pieces_share_the_page_of_their_map_as_worked_by_hand(heights, room, least, shared):
    from plugin.report.planning import pieces_beside_map
    assert pieces_beside_map(heights, room, least, 250) == shared


@pytest.fixture
def composed(qgis_app, call_folder):
    """Return composed(summary, paper): the filled sheet."""
    from qgis.core import QgsProject

    from plugin.report.grower_pdf import compose
    from plugin.report.map_layers import FolderMaps
    made = []

    def compose_it(said, paper="A4"):
        project = QgsProject()
        maps = FolderMaps(project, folder=call_folder, boundary_wkb=boundary_wkb(),
                          crs_wkt=crs_wkt(), units="us")
        made.append(maps)
        return compose(project, said, maps, paper=paper)
    yield compose_it
    for maps in made:
        maps.close()


def with_zones(count):
    """Return the summary with so many zones in both plans, and two yields."""
    said = summary()
    for key in ("replant", "tillage"):
        zones = said[key]["zones"]
        said[key]["zones"] = [{**copy.deepcopy(zones[n % len(zones)]), "zone": f"{n + 1}"}
                              for n in range(count)]
    said["yields"].append({**said["yields"][0], "season": 2024})
    return said


def items_of(sheet):
    """Return the layout items, without what a layout adds of its own."""
    from qgis.core import QgsLayoutItem
    return [item for item in sheet.layout.items() if isinstance(item, QgsLayoutItem)]


def body_of(sheet, page):
    """Return the lines between running head and foot, from top to bottom."""
    lines = [line for line in sheet.inks[page].lines if line[3] + line[1].line_mm <= sheet.bottom
             + 0.01 and (page == 0 or line[3] >= sheet.top - 0.01)]
    return sorted(lines, key=lambda line: line[3])


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("count", [3, 7, 26, 27, 28, 29, 30, 31, 60])
def test_no_heading_ends_a_page_and_no_row_stands_on_a_page_by_itself(composed, paper, count):
    from plugin.report import look
    sheet = composed(with_zones(count), paper)
    for page in range(len(sheet.inks)):
        body = body_of(sheet, page)
        assert body[-1][1] not in (look.HEADING, look.SUBHEADING, look.LEAD), (page, body[-1][0])
        heads = [n for n, line in enumerate(body) if line[1].bold and line[1].colour == look.QUIET]
        rows = {round(line[3], 2) for line in body if not line[1].bold}
        if page and heads:  # a table goes on here, or starts here
            assert len(rows) >= 2


def test_no_page_but_the_last_is_next_to_empty(composed):
    sheet = composed(with_zones(7))
    pages = sheet.layout.pageCollection()
    ends = {}
    for item in items_of(sheet):
        page = item.page()
        box = pages.page(page).mapRectFromScene(item.mapRectToScene(item.rect()))
        if box.height() < 290:  # not the text, which is as large as the page
            ends[page] = max(ends.get(page, 0.0), box.bottom())
    for page in range(len(sheet.inks) - 1):
        body = body_of(sheet, page)
        end = max(ends.get(page, 0.0), body[-1][3])
        assert end > 0.4 * sheet.paper.height, page


def test_two_yield_maps_share_a_page_and_a_third_goes_to_the_next(composed):
    from qgis.core import QgsLayoutItemMap
    said = summary()
    said["yields"] = [{**said["yields"][0], "season": 2025}] * 3
    sheet = composed(said)
    pages = [item.page() for item in sheet.layout.items()
             if isinstance(item, QgsLayoutItemMap) and item.id() == "yield_2025"]
    first = min(pages)
    assert sorted(pages) == [first, first, first + 1]


def test_a_table_takes_no_more_layout_items_for_more_rows(composed):
    # what makes a layout slow: it sorts all its items anew for each one added
    few, many = (composed(with_zones(count)) for count in (10, 120))
    pages = len(many.inks) - len(few.inks)
    assert pages > 8
    more = len(items_of(many)) - len(items_of(few))
    # a page more is two items: the page and its text; the legend holds the same works
    assert more == 2 * pages


def test_page_one_holds_the_key_figures_and_the_last_section_the_readings(composed):
    for paper in ("A4", "Letter"):
        pages = [[line[0] for line in ink.lines] for ink in composed(with_zones(3), paper).inks]
        assert "Key figures" in pages[0] and "Readings taken" not in pages[0]
        method = next(number for number, texts in enumerate(pages)
                      if "How it was done and how sure it is" in texts)
        later = [text for texts in pages[method:] for text in texts]
        assert "Readings taken" in later and "Yield points" in later


def test_the_height_of_a_piece_is_what_it_then_takes(composed):
    from plugin.report.tables import draw_table
    sheet = composed(summary())

    def piece(on):
        draw_table(on, ["Zone", "Remark"], [["1", "word " * 60], ["2", "short"]], heading="Zones")
    sheet.new_page()
    foretold, start = sheet.height_of(piece), sheet.y
    page, before = sheet.page, len(sheet.inks)
    piece(sheet)
    assert sheet.y - start == pytest.approx(foretold, abs=1e-9)  # rounding only
    assert (sheet.page, len(sheet.inks)) == (page, before)


def test_a_wide_column_gives_way_before_the_narrow_ones_wrap(composed):
    from plugin.report.tables import draw_table
    sheet = composed(summary())
    sheet.new_page()
    draw_table(sheet, ["Readings", "Remark"], [["Rows counted one by one", "word " * 80]])
    texts = [line[0] for line in sheet.inks[sheet.page].lines]
    assert "Rows counted one by one" in texts
    assert sum(text.startswith("word") for text in texts) > 2


def test_no_map_is_a_strip_however_long_the_plan(composed):
    from qgis.core import QgsLayoutItemMap
    for count in (3, 7, 60):
        for item in composed(with_zones(count)).layout.items():
            if isinstance(item, QgsLayoutItemMap):
                assert item.rect().height() >= 84.9, item.id()  # 85 mm can be read


@pytest.mark.parametrize("count", [2, 3, 6])
def test_wherever_a_table_starts_its_heading_has_rows_and_no_row_is_by_itself(composed, count):
    from plugin.report.tables import draw_table
    sheet = composed(summary())
    rows = [[f"row {number}", "text"] for number in range(count)]
    split = 0
    for start in range(210, int(sheet.bottom)):
        sheet.new_page()
        sheet.y, before = float(start), sheet.page
        draw_table(sheet, ["Zone", "Text"], rows, heading="Heading")
        pages = [[line[0] for line in ink.lines] for ink in sheet.inks[before:]]
        numbers = [sum(text.startswith("row ") for text in page) for page in pages]
        assert sum(numbers) == count
        assert all(number == 0 or number >= 2 for number in numbers), (start, numbers)
        assert all(("Zone" in page) == (number > 0) for page, number in zip(pages, numbers))
        (heading,) = [number for number, page in zip(numbers, pages) if "Heading" in page]
        assert heading >= 2
        split += sum(number > 0 for number in numbers) > 1
    assert (split > 0) == (count > 3)  # two or three rows are never parted


def test_wherever_a_list_starts_its_last_item_has_company(composed):
    sheet = composed(summary())
    for start in range(235, int(sheet.bottom)):
        sheet.new_page()
        sheet.y, before = float(start), sheet.page
        sheet.bullets([f"item {number}" for number in range(5)])
        numbers = [sum(line[0].startswith("item ") for line in ink.lines)
                   for ink in sheet.inks[before:]]
        assert sum(numbers) == 5
        assert numbers[-1] >= 2, (start, numbers)
