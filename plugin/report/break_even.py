"""The stand below which replanting gains, by replant date and by crop price: curves and a table."""
from datetime import date
from itertools import zip_longest

from ..core.deliver.figures import figure
from .curves import Curve, draw_curves
from .tables import draw_table
from .words import text_of, tr

_DATES_APART = 2  # each so many dates one is printed below the curve


def draw_break_even(sheet, found):
    """Print the break-even stand as curves, then in figures; nothing where it was not told.

    Parameters
        found  dict, as core's `break_even_account` returns it, or None
    """
    if not found:
        return
    heading = tr("Stand below which replanting gains")
    drawn = "now" in found and _draw_curves(sheet, found, heading)  # not in an earlier summary
    columns = [[[text_of(one[of]), text_of(one["stand"])] for one in found[f"by_{of}"]]
               for of in ("date", "price")]
    rows = [[*day, "", *price] for day, price in zip_longest(*columns, fillvalue=["", ""])]
    draw_table(sheet, [tr("Replant date"), tr("Break-even stand"), "", tr("Crop price"),
                       tr("Break-even stand")], rows, right=(1, 3, 4),
               heading="" if drawn else heading)


def _draw_curves(sheet, found, heading):
    unit = next((one["stand"]["unit"] for of in ("date", "price") for one in found[f"by_{of}"]
                 if "unit" in one["stand"]), "")
    return draw_curves(
        sheet, [_by_date(found, unit), _by_price(found, unit)], heading=heading,
        above=tr("keeping pays"), below=tr("replanting gains"),
        tell=lambda stand: figure(stand, unit)["text"].removesuffix(unit).strip())


def _by_date(found, unit):
    days = [date.fromisoformat(one["date"]["value"]) for one in found["by_date"]]
    now = date.fromisoformat(found["now"]["date"]["value"])
    return Curve(
        tr("Break-even stand by replant date, {unit}").format(unit=unit),
        _points([day.toordinal() for day in days], found["by_date"]),
        tuple((day.toordinal(), day.strftime("%m-%d")) for day in days[::_DATES_APART]),
        tr("replanted in {year}, month-day; the mark: as entered").format(year=now.year),
        now.toordinal())


def _by_price(found, unit):
    prices = [one["price"]["value"] for one in found["by_price"]]
    return Curve(
        tr("Break-even stand by crop price, {unit}").format(unit=unit),
        _points(prices, found["by_price"]),
        tuple((price, f"{price:,.2f}") for price in prices[::_DATES_APART]),
        tr("{unit}; the mark: as entered").format(unit=found["now"]["price"]["unit"]),
        found["now"]["price"]["value"])


def _points(across, rows):
    return tuple(zip(across, (row["stand"].get("value") for row in rows)))
