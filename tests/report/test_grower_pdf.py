"""The report as a reader gets it: the PDF, read back with another program."""
import copy
import shutil
import threading

import pytest

from plugin.core.problems import InputProblem, Stopped
from tests.report.field_call_folder import boundary_wkb, crs_wkt, figure, rectangle, span, summary
from tests.report.pdf_reading import page_sizes, pages_of, squeezed, words_of


def texts_in(part):
    """Return every figure's text in a summary."""
    if isinstance(part, list):
        return [text for value in part for text in texts_in(value)]
    if not isinstance(part, dict):
        return []
    own = [part["text"]] if isinstance(part.get("text"), str) else []
    return own + [text for value in part.values() for text in texts_in(value)]


def test_every_figure_of_the_summary_is_printed_as_its_text(whole_report):
    figures = texts_in(summary())
    assert len(figures) > 100  # the walk did meet them
    words = words_of(whole_report, "-layout")
    assert [text for text in figures if text not in words
            and squeezed(text) not in squeezed(words)] == []


def test_headlines_verdicts_sources_cautions_and_what_is_lacking_are_printed(whole_report):
    said = summary()
    wanted = [said["replant"]["headline"], said["tillage"]["headline"], *said["cautions"],
              *said["tillage"]["cautions"], *said["lacking"], *said["replant"]["sources"],
              said["stand"]["verdict"], said["stand"]["error"], said["yields"][0]["verdict"],
              *(one["verdict"] for one in said["pan"]["maps"].values()), said["made"]["sha256"],
              said["readings"][0]["note"]]
    words = squeezed(words_of(whole_report))
    assert [text for text in wanted if squeezed(text) not in words] == []


def test_a_map_says_its_own_method_and_how_sure_it_is_and_the_last_section_says_it_in_full(
        whole_report):
    said = summary()
    captions, in_full = squeezed(words_of(whole_report, "-layout")).split("Howitwasdone")
    made = [said["stand"], *said["pan"]["maps"].values(), *said["yields"]]
    for one in made:
        method, verdict = (squeezed(text[1:]) for text in (one["method"], one["verdict"]))
        assert any(f"{method}Howsure:{letter}{verdict}" in captions
                   for letter in (one["verdict"][0], one["verdict"][0].lower()))
        assert squeezed(one["detail"]) in in_full
        assert squeezed(one["detail"]) not in captions


def test_page_one_is_in_plain_words(whole_report):
    first = pages_of(whole_report)[0].lower()
    for word in ("interval", "kriging", "deviation", "standard error", "likelihood", "variogram"):
        assert word not in first


def test_a_plan_whose_intervals_have_no_width_prints_none(printed):
    said = summary()
    for part in (*said["tillage"]["zones"], said["tillage"]["totals"]):
        value = part["gain"]["value"]
        part["interval"] = span(value, value, "USD")
    words = words_of(printed(said), "-layout")
    assert "Saving, range of the draft" not in words
    assert "433 USD" in words  # the saving of zone 3 itself
    assert "Gain, nine times in ten" in words


def test_intervals_with_width_are_printed_in_zones_and_totals(whole_report):
    assert words_of(whole_report, "-layout").count("Saving, range of the draft") >= 2


# ISO 216: A4 is 210 by 297 mm; ANSI A is 8.5 by 11 in; a point is 1/72 in.
@pytest.mark.parametrize(("paper", "width", "height"), [
    ("A4", 210 / 25.4 * 72, 297 / 25.4 * 72), ("Letter", 612, 792)])
def test_every_page_has_the_size_of_the_paper_and_says_which_of_how_many_it_is(
        printed, paper, width, height):
    path = printed(summary(), paper=paper)
    (size,) = page_sizes(path)
    assert size == pytest.approx((width, height), abs=1)  # the writer rounds to whole points
    pages = pages_of(path)
    for number, page in enumerate(pages, 1):
        assert f"Page {number} of {len(pages)}" in page
        assert "Home quarter, north half" in page
        assert "2026-05-19" in page


def test_page_one_says_what_was_found_and_what_is_advised(whole_report):
    first = pages_of(whole_report)[0]
    for text in ("Replant 41.5 ac in zone 2", "Till 66.9 ac", "26,400 plants/ac", "12.6 in"):
        assert text in first


def test_the_last_section_says_which_readings_were_used_and_why_one_was_not(whole_report):
    pages = pages_of(whole_report)
    start = next(number for number, page in enumerate(pages)
                 if "How it was done and how sure it is" in page)
    later = " ".join(pages[start:])
    for text in ("Readings taken", "36 stops", "35 of them", "Stop 14 has a length of 0 ft."):
        assert text in later


@pytest.mark.parametrize(("key", "empty", "name", "gone"), [
    ("stand", None, "Stand", "25,300"), ("pan", None, "Hard layer (pan)", "58 %"),
    ("replant", None, "Replant plan", "34,000 seeds/ac"),
    ("tillage", None, "Tillage plan", "433 USD"),
    ("yields", [], "Yield maps", "171.2")])
def test_a_missing_section_has_no_page_and_page_one_says_that_it_is_not_in_the_report(
        printed, whole_report, key, empty, name, gone):
    whole = pages_of(whole_report)
    left = pages_of(printed({**summary(), key: empty}))
    assert len(left) < len(whole)
    assert f"Not in this report: {name}." in left[0]
    assert "Not in this report" not in whole[0]
    assert gone in " ".join(whole)
    assert gone not in " ".join(left)


def test_a_field_call_that_made_nothing_still_prints_its_readings_and_its_cautions(printed):
    said = {**summary(), "stand": None, "pan": None, "replant": None, "tillage": None,
            "yields": []}
    words = words_of(printed(said), "-layout")
    for text in ("36 stops", "No plan was made", said["lacking"][0], "Yield maps."):
        assert text in words


def test_figures_from_memory_carry_a_mark_and_its_meaning(whole_report):
    words = words_of(whole_report, "-layout")
    assert "Seed rebate (from memory) †" in words
    assert "1994, from memory. †" in words
    assert "† This figure is from memory" in words


def test_a_rating_from_memory_carries_a_mark_on_page_one_and_one_that_was_read_does_not(printed):
    said = summary()
    first = pages_of(printed(said))[0]
    assert "Moderate †" in first and "† From memory: check it against the bulletin" in first
    said["pan"]["rating"]["from_memory"] = False
    first = pages_of(printed(said))[0]
    assert "Moderate" in first and "†" not in first


def test_the_map_of_the_stand_has_the_classes_of_its_table(printed):
    # half, seven and nine tenths of the target of 32,000
    words = words_of(printed(summary()), "-layout")
    for limits in ("below 16,000 plants/ac", "16,000 to 22,400 plants/ac",
                   "22,400 to 28,800 plants/ac", "28,800 plants/ac or more"):
        assert limits in words
    said = summary()
    said["stand"]["zones"] = []
    assert "22,400" not in words_of(printed(said), "-layout")


def test_a_tillage_map_says_how_sure_both_the_chance_and_the_depth_are(whole_report):
    page = next(page for page in pages_of(whole_report) if "Till 66.9 ac" in page
                and "Page 1 of" not in page)
    for verdict in ("off by 0.3 as a rule", "do not support a map of the bottom"):
        assert squeezed(verdict) in squeezed(page)


def test_a_hard_layer_without_maps_shares_a_page(printed, tmp_path, call_folder):
    folder = shutil.copytree(call_folder, tmp_path / "call")
    for path in (folder / "surfaces").glob("*.tif"):
        path.unlink()
    pages = pages_of(printed(summary(), folder=folder))
    page = next(page for page in pages if "surfaces/pan_chance.tif" in page)
    assert "surfaces/stand.tif" in page


def test_a_very_long_field_name_is_printed_whole_on_every_page(printed):
    said = summary()
    said["field"]["name"] = "Behind the old mill, east of the ditch, " * 4 + "x" * 150 + " end"
    for page in pages_of(printed(said)):
        # the date of the visit stands to the right of the first line of a running head
        assert squeezed(said["field"]["name"]) in squeezed(page.replace("Visited 2026-05-19", ""))


def test_other_alphabets_and_signs_come_out_as_they_went_in(printed):
    said = summary()
    said["field"]["grower"] = "Łucja Žůrková-Ångström"
    said["stand"]["mean"] = figure(65.2, "", "65,2 Tsd. µ ± 3 ² ≥ Pflanzen/ha")
    said["lacking"] = ["Νερό: δεν μετρήθηκε.", "Вода: не измерена."]
    words = words_of(printed(said), "-layout")
    for text in (said["field"]["grower"], said["stand"]["mean"]["text"], *said["lacking"]):
        assert text in words


def test_what_looks_like_an_expression_or_markup_is_printed_and_not_run(printed):
    said = summary()
    said["field"]["name"] = "North [% 40 + 2 %] <b>bold</b> &amp;"
    words = words_of(printed(said))
    assert "North [% 40 + 2 %] <b>bold</b> &amp;" in words
    assert "North 42" not in words


def test_f_and_i_are_not_joined_to_one_sign_that_a_search_would_miss(whole_report):
    assert "ﬁ" not in words_of(whole_report)


def test_a_long_table_goes_on_under_its_titles_and_loses_no_row(printed):
    said = summary()
    (zone,) = [zone for zone in said["replant"]["zones"] if zone["zone"] == "2"]
    said["replant"]["zones"] = [
        {**copy.deepcopy(zone), "zone": f"{number}", "area": figure(1, "ac", f"{number}.77 ac")}
        for number in range(1, 81)]
    pages = pages_of(printed(said))
    rows = [page for page in pages if ".77 ac" in page]
    assert len(rows) >= 3
    assert all("Action" in page and "Gain per area" in page for page in rows)
    words = " ".join(rows)
    assert [number for number in range(1, 81) if f" {number}.77 ac" not in words] == []


def test_a_remark_longer_than_a_page_is_carried_on(printed):
    said = summary()
    said["readings"][0]["note"] = " ".join(f"remark{number}" for number in range(1, 1201))
    words = words_of(printed(said))
    missing = [number for number in range(1, 1201) if f"remark{number}" not in words]
    assert missing == []


def test_a_folder_without_one_of_the_maps_says_so(printed, tmp_path):
    (tmp_path / "bare").mkdir()
    words = words_of(printed(summary(), folder=tmp_path / "bare"))
    assert "No map was made (surfaces/stand.tif)." in words
    assert "No map was made (zones.gpkg, tillage_plan)." in words


def test_the_legend_of_a_plan_prints_the_rates_of_the_summary(printed):
    said = summary()
    said["replant"]["zones"][1]["rate"]["text"] = "34 thousand seeds"
    assert "Replant: 34 thousand seeds" in words_of(printed(said))


def test_the_report_can_be_written_in_another_thread(qgis_app, call_folder, tmp_path):
    from plugin.report.grower_pdf import write_report
    pages = []
    worker = threading.Thread(target=lambda: pages.append(write_report(
        tmp_path / "report.pdf", summary(), folder=call_folder, boundary_wkb=boundary_wkb(),
        crs_wkt=crs_wkt())))
    worker.start()
    worker.join()
    assert pages == [len(pages_of(tmp_path / "report.pdf"))]


def test_the_open_project_gets_no_layer_and_the_folder_no_file(printed, call_folder):
    from osgeo import gdal
    from qgis.core import QgsProject
    layers = set(QgsProject.instance().mapLayers())
    files = {path: path.read_bytes() for path in call_folder.rglob("*") if path.is_file()}
    printed(summary())
    assert set(QgsProject.instance().mapLayers()) == layers
    assert {path: path.read_bytes() for path in call_folder.rglob("*")
            if path.is_file()} == files
    assert not [name for name in gdal.ReadDir("/vsimem/") or [] if name.endswith(".tif")]


def test_a_cancel_at_any_moment_leaves_no_file(printed, tmp_path):
    moments = []
    pages = len(pages_of(printed(summary(), tick=moments.append)))
    (tmp_path / "report.pdf").unlink()
    assert moments[-1] == 1.0 and moments == sorted(moments)
    assert pages > 1 and len([one for one in moments if one > 0.5]) > pages  # one a page, the end
    for last in (0, len(moments) // 2, len(moments) - pages, len(moments) - 1):
        left = iter(range(last))

        def stop(_fraction, left=left):
            if next(left, None) is None:
                raise Stopped
        with pytest.raises(Stopped):
            printed(summary(), tick=stop)
        assert list(tmp_path.iterdir()) == []


def test_after_a_cancel_no_further_page_is_painted(printed, monkeypatch):
    from plugin.report.page_ink import PageInk
    draw, painted = PageInk.draw, []

    def counted(self, context):
        painted.append(self.page())
        draw(self, context)

    monkeypatch.setattr(PageInk, "draw", counted)
    printed(summary())
    assert painted == sorted(painted) and painted[-1] >= 3  # pages are counted from 0
    painted.clear()

    def stop(fraction):
        if fraction > 0.5:  # a page is printed
            raise Stopped
    with pytest.raises(Stopped):
        printed(summary(), tick=stop)
    assert set(painted) == {0}


def test_a_failure_leaves_the_older_report_as_it_was(printed, tmp_path, monkeypatch):
    from qgis.core import QgsLayoutExporter
    older = tmp_path / "report.pdf"
    older.write_text("last year's", encoding="utf-8")
    monkeypatch.setattr(QgsLayoutExporter, "exportToPdf", lambda *_: (
        QgsLayoutExporter.ExportResult.FileError))
    with pytest.raises(InputProblem, match="could not write the PDF"):
        printed(summary())
    assert older.read_text("utf-8") == "last year's"
    assert list(tmp_path.iterdir()) == [older]


@pytest.mark.parametrize(("changes", "message"), [
    ({"paper": "A3"}, "A3 is not a paper size.*A4, Letter"),
    ({"crs_wkt": "nowhere"}, "coordinate system is not known"),
    ({"boundary_wkb": b""}, "boundary holds no area"),
])
def test_what_cannot_be_printed_is_refused_and_nothing_is_written(
        printed, tmp_path, changes, message):
    with pytest.raises(InputProblem, match=message):
        printed(summary(), **changes)
    assert list(tmp_path.iterdir()) == []


def test_a_place_that_does_not_exist_is_named(qgis_app, call_folder, tmp_path):
    from plugin.report.grower_pdf import write_report
    with pytest.raises(InputProblem, match="cannot be written to .*absent"):
        write_report(tmp_path / "absent" / "report.pdf", summary(), folder=call_folder,
                     boundary_wkb=boundary_wkb(), crs_wkt=crs_wkt())
    assert list(tmp_path.iterdir()) == []


def test_a_tall_narrow_field_and_a_wide_flat_one_are_printed_too(printed):
    from osgeo import ogr
    for shape in ((.4, 0, .5, 1), (0, .4, 1, .5)):
        wkb = ogr.CreateGeometryFromWkt(rectangle(*shape)).ExportToWkb()
        assert "Stand by class" in words_of(printed(summary(), boundary_wkb=wkb))
