"""Figures as people read them: a number, its unit, and the text that report and file both show."""
import math

# Decimals by unit, the same down a column; a population is rounded to hundreds, as one counts. Any
# other unit gets the decimals its value needs, up to MOST_DECIMALS.
_DECIMALS = {"ac": 1, "ha": 1, "in": 1, "cm": 0, "ft": 0, "m": 0, "psi": 0, "kPa": 0,
             "bu/ac": 0, "t/ha": 1, "seed units": 1, "lb/ac": 0, "kg/ha": 0, "lb": 0, "kg": 0,
             "ton/ac": 2, "ton": 1, "t": 1, "ppm": 1, "lbf": 0, "kN": 1, "hp": 0, "kW": 0,
             "gal": 0, "L": 0, "gal/ac": 2, "L/ha": 1, "h": 1}
_MOST_DECIMALS = 3
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
    """Return {"low", "high", "text"}: two figures and how the two are read together.

    An interval without width reads as its one figure.
    """
    low, high = figure(low, unit), figure(high, unit)
    text = low["text"] if low == high else f"{low['text']} to {high['text']}"
    return {"low": low, "high": high, "text": text}


def share(value):
    """Return the figure of a chance (0 to 1) in whole percent.

    One that would read as certain, 0 % or 100 %, reads "under 1 %" or "over 99 %": it rests on
    draws and on a model, and neither knows for certain.
    """
    if value is None or not math.isfinite(value):
        return figure(None, "%")
    text = f"{_clean(100 * value, 0)} %"
    text = {"0 %": "under 1 %", "100 %": "over 99 %"}.get(text, text)
    return {"value": 100 * float(value), "unit": "%", "text": text}


def _text(value, unit):
    currency, _, per = unit.partition("/")
    if len(currency) == 3 and currency.isupper():
        mills = math.isclose(round(value, 3), value, rel_tol=1e-9)  # a price such as 0.045
        number = _clean(value, 0 if not per else max(2, _needed(value)) if mills else 2)
        return f"{currency} {number}/{per}" if per else f"{currency} {number}"
    if unit in _HUNDREDS:
        number = _clean(round(value, -2), 0)
    else:
        number = _clean(value, _DECIMALS[unit] if unit in _DECIMALS else _needed(value))
    return f"{number} {unit}".strip()


def _needed(value):
    """Fewest decimals, up to _MOST_DECIMALS, that lose nothing of the value."""
    return next((decimals for decimals in range(_MOST_DECIMALS)
                 if math.isclose(round(value, decimals), value, rel_tol=1e-9)), _MOST_DECIMALS)


def _clean(value, decimals):
    text = f"{value:,.{decimals}f}"
    return text.lstrip("-") if not any(digit in text for digit in "123456789") else text
