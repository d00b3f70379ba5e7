"""The break-even stand by replant date and by crop price."""
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from .replant_gain import break_even_stand, gain_per_area
from .yield_response import days_covered

DAYS_APART = 5
PRICES = np.linspace(0.5, 1.5, 11)  # times the price entered


@dataclass(frozen=True)
class BreakEven:
    """The stand below which replanting gains, at one replant date or price.

    at      datetime.date, or price in the settings' unit
    stand   plants per area; None where no stand decides it
    always  where it is None: whether replanting gains at every stand, or at none
    """
    at: object
    stand: float
    always: bool


def break_even_by_date(table, settings, visited=None):
    """Return the BreakEven of replant dates DAYS_APART, from the visit, or the day after planting,
    to the table's last, that of the settings among them.

    Dates before the table's first are left out.

    Parameters
        visited  datetime.date on which the field was looked at, or None: not known
    """
    first, last = days_covered(table, settings.planting_date.year)
    start = max(first, visited or settings.planting_date + timedelta(days=1))
    steps = (last - settings.replant_date).days // DAYS_APART
    back = max(0, (settings.replant_date - start).days // DAYS_APART)
    days = [settings.replant_date + timedelta(days=DAYS_APART * step)
            for step in range(-back, steps + 1)]
    return tuple(_break_even(table, replace(settings, replant_date=day), day) for day in days)


def break_even_by_price(table, settings):
    """Return the BreakEven at half to one and a half times the crop price."""
    prices = (PRICES * settings.crop_price).tolist()
    return tuple(_break_even(table, replace(settings, crop_price=price), price)
                 for price in prices)


def _break_even(table, settings, at):
    stand = break_even_stand(table, settings)
    always = stand is None and bool(gain_per_area(table, settings, table.stands[-1]) > 0)
    return BreakEven(at, stand, always)
