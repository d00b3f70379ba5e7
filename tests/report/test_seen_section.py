"""What was seen, as the reader of the report gets it."""
import subprocess

import numpy as np
import pytest

from plugin.core.deliver.seen import Note, Seen, seen_account
from plugin.core.deliver.soil_account import soil_account
from plugin.core.observations import Observations
from tests.report.field_call_folder import summary
from tests.report.pdf_reading import squeezed, words_of
from tests.report.test_grower_pdf import texts_in


def note(where, subject, **changes):
    return Note(**{"where": where, "subject": subject, "organism": "", "words": "",
                   "severity": None, "incidence": None, "checked": None, "affected": None,
                   "root_rating": None, "turn_at": None, **changes})


def account(photos=(), notes=()):
    return seen_account(Seen(
        crop="corn", depth_unit="in", stages=(("stop 1", 12, 2),), evenness=("uneven",),
        seed_stops=np.array([1, 1, 2]), seed_depths=np.array([1.9, 2.1, 0.8]),
        seed_emerged=(True, False, True), warnings=("scout_notes, row 7: odd.",),
        notes=(note("stop 1", "insect", organism="not caught", checked=50.0, affected=2.0,
                    incidence=0.04, severity=0.05, words="Notched edges."),
               note("stop 2", "insect", organism="not caught", incidence=0.3),
               note("stop 9", "root", root_rating=3, turn_at=7.0, words="Bent <b>sideways</b>."),
               *notes)), list(photos))


def picture(path, width=400, height=300):
    from qgis.PyQt.QtGui import QColor, QImage
    image = QImage(width, height, QImage.Format.Format_RGB32)
    image.fill(QColor("#a0522d"))
    assert image.save(str(path))


def images_in(path):
    """Return (width, height) of every image in a PDF."""
    found = subprocess.run(["pdfimages", "-list", str(path)], check=True, capture_output=True,
                           text=True).stdout.splitlines()[2:]
    return [tuple(map(int, line.split()[3:5])) for line in found]


def test_every_figure_and_sentence_of_what_was_seen_is_printed(printed):
    seen = account()
    words = squeezed(words_of(printed({**summary(), "seen": seen}), "-layout"))
    wanted = [*texts_in(seen), *seen["said"], *seen["warnings"], "Bent <b>sideways</b>.",
              "Seen on the walk: 3 notes at 3 places", "of 50 plants counted, 4 % affected",
              "1.5 in to 2.0 in", "V2 (BBCH 12)", "Usually advised"]
    assert [text for text in wanted if squeezed(text) not in words] == []


def test_a_summary_without_it_prints_no_such_section(printed):
    assert "What was seen" not in words_of(printed(summary()))


def test_photos_beside_the_record_are_shown_and_others_named(printed, qgis_app, tmp_path):
    folder = tmp_path / "call"
    folder.mkdir()
    picture(folder / "a.jpg", 4000, 3000)
    (folder / "broken.jpg").write_bytes(b"no picture")
    photos = [{"file": name, "caption": f"stop {number}, leaf", "found": name != "lost.jpg"}
              for number, name in enumerate(("a.jpg", "broken.jpg", "lost.jpg"), 1)]
    told = {**summary(), "seen": account(photos)}
    report = printed(told, photos=folder)
    words = words_of(report)
    assert "Stop 1, leaf" in words and "Stop 2, leaf: broken.jpg" in words
    assert "Stop 3, leaf: lost.jpg (not found beside the record)" in words
    shown = [size for size in images_in(report) if size == (1200, 900)]  # made smaller for print
    assert len(shown) == 1
    assert "Stop 1, leaf: a.jpg" in words_of(printed(told))  # without a folder only named


@pytest.mark.parametrize("count,more", [(57, None), (70, "13 more notes are in the record.")])
def test_a_long_walk_is_cut_after_sixty_notes_and_says_so(printed, count, more):
    many = [note(f"stop {number}", "weed", words=f"Weed {number}.") for number in range(count)]
    said = words_of(printed({**summary(), "seen": account(notes=many)}))
    assert "Weed 56." in said and "Weed 57." not in said  # three notes come before them
    assert more is None or more in said
    assert ("more notes are in the record" in said) is (more is not None)


def test_soil_results_are_printed_with_depth_method_and_what_was_left_out(printed):
    soil = soil_account("nitrate_n_ppm", Observations.of(
        "Nitrate nitrogen", "ppm", [(0, 0), (9, 0)], [14.0, 18.0]), methods=("laboratory",) * 2,
        bottom_m=[0.3048, 0.3048], depth_unit="in", left_out=1,
        warnings=("probe_points, row 3: only 7 in deep. Left out.",))
    words = squeezed(words_of(printed({**summary(), "soil": [soil]}), "-layout"))
    wanted = [*texts_in(soil), *soil["warnings"], "Soil samples", "laboratory 2"]
    assert [text for text in wanted if squeezed(text) not in words] == []
