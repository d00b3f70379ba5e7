"""Figures as people read them: a number, its unit, and the text that report and file both show."""
import math

# Decimals by unit; a population is rounded to hundreds, as one counts.
_DECIMALS = {"ac": 1, "ha": 1, "in": 1, "cm": 0, "ft": 0, "m": 0, "psi": 0, "kPa": 0,
             "bu/ac": 0, "t/ha": 1, "%": 0, "": 0, "seed units": 1, "gal": 0, "L": 0}
_HUNDREDS = ("plants/ac", "plants/ha", "seeds/ac", "seeds/ha")
UNKNOWN = "not known"


def figure(value, unit=""):
    """Return {"value", "unit", "text"}; a missing value reads "not known".

    Money is a unit such as "USD" (whole) or "USD/ac" (cents); the currency stands in front.
    """
    if value is None or not math.isfinite(value):
        return {"value": None, "unit": unit, "text": UNKNOWN}
    return {"value": float(value), "unit": unit, "text": _text(float(value), unit)}


def interval(low, high, unit=""):
    """Return {"low", "high", "text"}: two figures and how the two are read together."""
    low, high = figure(low, unit), figure(high, unit)
    return {"low": low, "high": high, "text": f"{low['text']} to {high['text']}"}


def share(value):
    """Return the figure of a share (0 to 1) in percent."""
    return figure(None if value is None else 100 * value, "%")


def _text(value, unit):
    currency, _, per = unit.partition("/")
    if len(currency) == 3 and currency.isupper():
        number = f"{_clean(value, 2 if per else 0)}"
        return f"{currency} {number}/{per}" if per else f"{currency} {number}"
    if unit in _HUNDREDS:
        number = _clean(round(value, -2), 0)
    else:
        number = _clean(value, _DECIMALS.get(unit, 1))
    return f"{number} {unit}".strip()


def _clean(value, decimals):
    text = f"{value:,.{decimals}f}"
    return text.lstrip("-") if not any(digit in text for digit in "123456789") else text
