"""Curves of the report: each point where its scale says it is, gaps left open, words inside."""
import datetime

import numpy as np
import pytest

from plugin.core.decide.break_even_curve import BreakEven
from plugin.core.deliver.sensitivity_account import break_even_account

DAYS = [datetime.date(2026, 5, day) for day in (10, 15, 20, 25)]
STANDS = [19_700.0, 18_700.0, 16_780.0, None]
PRICES = [3.0, 4.5, 6.0]
BY_PRICE = [14_000.0, 16_780.0, 18_000.0]


def told(by_date=STANDS, by_price=BY_PRICE):
    return break_even_account(
        [BreakEven(day, stand, False) for day, stand in zip(DAYS, by_date)],
        [BreakEven(price, stand, False) for price, stand in zip(PRICES, by_price)],
        now=(DAYS[2], 4.5), stand_unit="plants/ac", price_unit="USD/bu")


@pytest.fixture
def drawn(qgis_app):
    """Return drawn(account): the sheet on which the break-even stand was printed."""
    from qgis.core import QgsProject

    from plugin.report.break_even import draw_break_even
    from plugin.report.look import PAPERS
    from plugin.report.sheet import Sheet
    projects = []

    def draw(account):
        projects.append(QgsProject())
        sheet = Sheet(projects[-1], PAPERS["Letter"], running="Field", visited="", foot="",
                      tick=lambda _: None)
        draw_break_even(sheet, account)
        return sheet
    return draw


def curves_of(sheet):
    from plugin.report import look
    return [points for points, _, pen, _ in sheet.inks[0].shapes if pen == look.ACCENT]


def label_at(sheet, text, number=0):
    """Return where the middle of a line of text lies, mm: (x, y)."""
    _, style, x, y, wide = [one for one in sheet.inks[0].lines if one[0] == text][number]
    return x + wide / 2, y + style.line_mm / 2


def test_each_point_lies_where_the_labels_of_both_scales_say(drawn):
    sheet = drawn(told())
    by_date, by_price = curves_of(sheet)
    high, low = label_at(sheet, "20,000")[1], label_at(sheet, "16,000")[1]
    for points, stands in ((by_date, STANDS[:3]), (by_price, BY_PRICE)):
        heights = [16_000 + 4_000 * (low - y) / (low - high) for _, y in points]
        assert heights == pytest.approx(stands, abs=1)  # positions are floats of mm
    ends = [label_at(sheet, day)[0] for day in ("05-10", "05-20")]
    assert [x for x, _ in by_date] == pytest.approx(np.linspace(*ends, 3))
    # the last price's label is pushed inside the panel, so the first two settle the scale
    assert by_price[0][0] == pytest.approx(label_at(sheet, "3.00")[0])
    assert by_price[1][0] == pytest.approx((by_price[0][0] + by_price[2][0]) / 2)


def test_the_decision_as_entered_is_marked_in_both(drawn):
    from plugin.report import look
    sheet = drawn(told())
    marks = [np.mean(points, axis=0) for points, fill, _, _ in sheet.inks[0].shapes
             if fill == look.INK]
    assert np.concatenate(marks) == pytest.approx(np.concatenate(
        [curve[at] for curve, at in zip(curves_of(sheet), (2, 1))]))


def test_where_no_stand_decides_the_line_has_a_gap(drawn):
    sheet = drawn(told(by_date=[19_700.0, 18_700.0, None, 15_000.0]))
    assert [len(points) for points in curves_of(sheet)] == [2, 3]  # a lone point is no line
    assert len([line for line in sheet.inks[0].lines if line[0] == "replanting gains"]) == 2


def test_where_nothing_can_be_drawn_the_table_stands_alone(drawn):
    for account in (told(by_date=[None] * 4, by_price=[None] * 3),
                    {name: part for name, part in told().items() if name != "now"}):
        sheet = drawn(account)
        assert not sheet.inks[0].shapes
        texts = [line[0] for line in sheet.inks[0].lines]
        assert texts.count("Stand below which replanting gains") == 1 and "2026-05-15" in texts


@pytest.mark.parametrize("stands", [[9_300.0, 22_100.0], [100.0, 100.0], [0.0, 5.0],
                                    [1.2e6, 1.9e6], [19_000.0, 19_001.0]])
def test_a_scale_has_round_steps_around_its_curves(qgis_app, stands):
    from plugin.report.curves import _scale
    bottom, top, steps = _scale(stands)
    assert 0 <= bottom <= min(stands) and max(stands) < top
    assert 2 <= len(steps) <= 7 and bottom <= steps[0] and steps[-1] <= top
    apart = np.diff(steps)
    assert apart == pytest.approx(apart[0]) and f"{apart[0]:.6e}"[0] in "125"


def test_labels_below_a_curve_never_run_into_each_other(drawn):
    prices = [123_456.78 + 1_000 * number for number in range(11)]
    sheet = drawn(break_even_account(
        [], [BreakEven(price, 15_000.0 + price / 100, False) for price in prices],
        now=(DAYS[0], prices[5]), stand_unit="plants/ha", price_unit="HUF/t"))
    told = [(x, x + wide) for text, _, x, _, wide in sheet.inks[0].lines
            if text in {f"{price:,.2f}" for price in prices}]
    assert 2 <= len(told) < 6
    assert all(end < start for (_, end), (start, _) in zip(told, told[1:]))


@pytest.mark.parametrize("lift", range(0, 4000, 250))
def test_no_rule_runs_through_words(drawn, lift):
    from plugin.report import look
    sheet = drawn(told([stand and stand + lift for stand in STANDS], BY_PRICE))
    rules = [points for points, _, pen, _ in sheet.inks[0].shapes if pen == look.RULE]
    assert len(rules) >= 4
    words = [(x, x + wide, y, y + style.line_mm) for text, style, x, y, wide
             in sheet.inks[0].lines if text in ("keeping pays", "replanting gains")]
    assert len(words) == 4
    for (start, at), (end, _) in rules:
        for left, right, upper, lower in words:
            assert not (upper < at < lower and start < right and left < end)


def test_nothing_drawn_leaves_the_page(drawn):
    sheet = drawn(told())
    right, left = sheet.left + sheet.width, sheet.left
    for text, _, x, _, wide in sheet.inks[0].lines:
        assert left - 1e-6 <= x and x + wide <= right + 1e-6, text
    for points, *_ in sheet.inks[0].shapes:
        assert all(left <= x <= right + 1e-6 and y <= sheet.y for x, y in points)
