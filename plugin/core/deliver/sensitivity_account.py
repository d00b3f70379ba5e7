"""What turns a plan, as plain figures and words."""
from datetime import date

from ..decide.tillage_sensitivity import LEFT_PAN
from .figures import figure, share

REPLANT_TITLES = ("Ground to replant: stops gaining", "Ground to keep: starts to gain")
RATE_TITLES = ("Mean rate: a step more", "Mean rate: a step less")
TILLAGE_TITLES = ("Ground to loosen: is left", "Ground left: is loosened")
_DIGITS = 3  # that a turn is told with; the account holds it in full
NO_GROUND = "no such ground"
_NAMES = {LEFT_PAN: "Loss by a pan left in place", "chance_limit": "Least chance of a pan",
          "replant_loss": "Loss of yield by replanting"}


def sensitivity_account(found, *, titles, names):
    """Return what turns a plan: titles of the two columns, and a row for each setting.

    Parameters
        found   sequence of Sensitivity
        titles  REPLANT_TITLES, TILLAGE_TITLES or RATE_TITLES
        names   dict of setting to what the user knows it by
    Returns  dict, or None where nothing was found. What is no turn has a text and no value;
             "steady" names the settings of which no value within its bounds turns anything
    """
    if not found:
        return None
    return {"titles": list(titles), "rows": [
        {"setting": one.setting,
         "name": _name(one, names),
         "now": _told(one.now, one, digits=None),
         "worked": _turn(one.worked, one), "spared": _turn(one.spared, one)} for one in found],
        "steady": [_name(one, names) for one in found if not _turns(one)]}


def _name(one, names):
    return names.get(one.setting) or _NAMES.get(one.setting, one.setting)


def _turns(one):
    return any(turn is not None and turn.value is not None for turn in (one.worked, one.spared))


def _turn(turn, one):
    if turn is None:
        return {"text": NO_GROUND}
    if turn.value is None and isinstance(one.now, str):
        return {"text": "none"}
    if turn.value is None:
        low, high = _told(turn.low, one)["text"], _told(turn.high, one)["text"]
        return {"text": f"none from {low} to {high}"}
    told = _told(turn.value, one)
    if isinstance(turn.value, date):
        words = "or later" if turn.above else "or earlier"
        return {**told, "text": f"on {told['text']} {words}"}
    if isinstance(turn.value, str):
        return {**told, "text": f"if {told['text']}"}
    return {**told, "text": f"{'above' if turn.above else 'below'} {told['text']}"}


def _told(value, one, *, digits=_DIGITS):
    if isinstance(value, date):
        return _day(value)
    if isinstance(value, str):
        return {"value": value, "unit": "", "text": value}
    if one.setting == "chance_limit":
        return share(value)
    told = figure(value, one.unit)
    if told["value"] is None:
        return {**told, "text": "any value"}
    if digits is None:
        return told
    return {**told, "text": figure(float(f"{value:.{digits}g}"), one.unit)["text"]}


def break_even_account(by_date, by_price, *, now, stand_unit, price_unit):
    """Return the break-even stand by replant date and by crop price.

    Parameters
        by_date, by_price  sequences of BreakEven
        now                (replant date, crop price) as entered
    """
    return {"now": {"date": _day(now[0]), "price": figure(now[1], price_unit)},
            "by_date": [{"date": _day(one.at), "stand": _stand(one, stand_unit)}
                        for one in by_date],
            "by_price": [{"price": figure(one.at, price_unit), "stand": _stand(one, stand_unit)}
                         for one in by_price]}


def _day(day):
    return {"value": day.isoformat(), "unit": "", "text": day.isoformat()}


def _stand(one, unit):
    if one.stand is not None:
        return figure(one.stand, unit)
    words = "replanting gains at every stand" if one.always else "replanting gains at no stand"
    return {"text": words}
