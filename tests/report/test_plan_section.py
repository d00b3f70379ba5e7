"""The pages of a plan: what turns it, its break-even, its fuel and the rating it rests on."""
import datetime

import numpy as np
import pytest

from plugin.core.decide.break_even_curve import BreakEven
from plugin.core.decide.compaction_rating import rate_compaction
from plugin.core.decide.sensitivity import Sensitivity, Turn
from plugin.core.deliver.sensitivity_account import (
    REPLANT_TITLES,
    TILLAGE_TITLES,
    break_even_account,
    sensitivity_account,
)
from tests.report.field_call_folder import boundary_wkb, crs_wkt, figure, summary

DAY = datetime.date(2026, 5, 20)
TURNS = (Sensitivity("crop_price", "USD/bu", 4.5, Turn(2.43, False, 1.125, 18.0),
                     Turn(None, False, 1.125, 18.0)),
         Sensitivity("seed_rebate", "%", 50.0, Turn(None, False, 0.0, 100.0), None))


@pytest.fixture
def printed(qgis_app, call_folder):
    """Return printed(summary): the texts of all pages, in the order they were set."""
    from qgis.core import QgsProject

    from plugin.report.grower_pdf import compose
    from plugin.report.map_layers import FolderMaps
    made = []

    def texts_of(said):
        project = QgsProject()
        made.append((project, FolderMaps(project, folder=call_folder, boundary_wkb=boundary_wkb(),
                                         crs_wkt=crs_wkt(), units="us")))
        sheet = compose(project, said, made[-1][1])
        return [line[0] for ink in sheet.inks for line in ink.lines]
    yield texts_of
    for _, maps in made:
        maps.close()


def told():
    """Return the summary with all that a plan may tell beside its zones."""
    said = summary()
    names = {"crop_price": "Crop price", "seed_rebate": "Seed rebate"}
    said["replant"] |= {
        "sensitivity": sensitivity_account(TURNS, titles=REPLANT_TITLES, names=names),
        "break_even_curve": break_even_account(
            [BreakEven(DAY, 16_780.0, False)],
            [BreakEven(4.5, 16_780.0, False), BreakEven(6.75, None, True)],
            now=(DAY, 4.5), stand_unit="plants/ac", price_unit="USD/bu"),
        "figures": {"most that a further look is worth": figure(210, "USD", "USD 210")}}
    said["tillage"] |= {
        "rating": {"text": rate_compaction(np.arange(20) < 11).text},
        "sensitivity": sensitivity_account(TURNS[:1], titles=TILLAGE_TITLES, names=names),
        "figures": {"fuel saved": figure(52, "gal", "52 gal (35 gal to 70 gal)")}}
    return said


def test_all_that_a_plan_tells_is_printed(printed):
    texts = printed(told())
    together = " ".join(texts)
    for words in ("Stand below which replanting gains", "2026-05-20", "16,800 plants/ac",
                  "USD 6.75/bu", "What would turn the decision", "below USD 2.43/bu",
                  "No value that was tried turns it: Seed rebate.",
                  "Fuel and time against one depth", "52 gal (35 gal to 70 gal)",
                  "Rating of the field", "Agronomy Facts 63",
                  "With the ground to look at again", "USD 210", "Saving, range of the"):
        assert words in together, words
    # what no value turns is in the note, and has no row
    assert "Seed rebate" not in texts


def test_a_summary_of_an_earlier_version_prints_without_them(printed):
    texts = printed(summary())
    assert "What would turn the decision" not in texts
    assert "Stand below which replanting gains" not in texts


def test_ground_to_look_at_again_is_told_apart_from_work_and_from_rest(qgis_app):
    from plugin.report.polygon_style import plan_symbols
    works = [("keep", 0.0), ("look again", 0.0), ("replant", 33_700.0)]
    symbols = plan_symbols(works)
    assert set(symbols) == set(works)
    assert len({symbol.color().name() for symbol in symbols.values()}) == 3
    assert symbols["look again", 0.0].symbolLayerCount() == 2  # white, under its lines
