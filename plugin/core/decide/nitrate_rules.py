"""Nitrogen to sidedress by the nitrate in the top foot, by published rules."""
from dataclasses import dataclass

import numpy as np

from ..problems import InputProblem
from ..units import bushel_kg, convert
from .data_table import read_data_table, titles_of_tables

PREVIOUS_CROPS = ("corn", "soybean", "forage_legume", "other")


@dataclass(frozen=True)
class NitrogenSite:
    """What the rules ask about the field besides its nitrate; None where it is not known.

    crop              as in the field record
    expected_yield    grain per area, in `yield_unit` (bu/ac or t/ha)
    usual_rate        nitrogen usually sidedressed without a test, in `rate_unit`
    rate_unit         lb/ac or kg/ha
    previous_crop     one of PREVIOUS_CROPS
    manure_since_harvest, manure_earlier   since the last harvest; in the three years before
    wet_spring        rain since April more than 20 % above normal
    mixed_cover_crop  a mixed cover crop grew before
    """
    crop: str
    rate_unit: str
    yield_unit: str
    expected_yield: float = None
    usual_rate: float = None
    previous_crop: str = None
    manure_since_harvest: bool = None
    manure_earlier: bool = None
    wet_spring: bool = None
    mixed_cover_crop: bool = None


@dataclass(frozen=True)
class NitrateRule:
    """A rule with where it comes from; `kind` is the form of its sum, a key of _RATES."""
    name: str
    title: str
    source: str
    year: str
    region: str
    crop: str
    status_in_words: str
    note: str
    kind: str
    rows: tuple


def nitrate_rules():
    """Return the rules there are, name -> title."""
    return titles_of_tables("nitrogen_rule")


def load_nitrate_rule(name):
    """Return the rule of that name, one of `nitrate_rules()`.

    Raises   InputProblem: there is none
    """
    if name not in nitrate_rules():
        raise InputProblem(f"There is no sidedress rule called {name}; there are "
                           f"{', '.join(nitrate_rules())}.")
    table = read_data_table(name)
    told = {part: table.head[part]
            for part in ("title", "source", "year", "region", "crop", "status_in_words", "note")}
    return NitrateRule(name=name, kind=table.head["nitrogen_rule"], rows=table.rows, **told)


def asked_by(rule, *, wet_spring=None):
    """Return the names of what a rule asks about the site, all of them attributes of NitrogenSite.

    Parameters
        rule        NitrateRule
        wet_spring  as of the site; a wet one has some rules ask for more
    """
    more = ("manure_since_harvest",) if rule.kind == "critical" and wet_spring else ()
    return _ASKS[rule.kind] + more


def nitrogen_needed(rule, site, nitrate_ppm):
    """Return the nitrogen to sidedress at each nitrate content, 0 or more.

    Parameters
        rule         NitrateRule
        site         NitrogenSite
        nitrate_ppm  array of any shape, nitrate-N of the top 12 in (30 cm), 0 or more
    Returns  array of that shape, in the site's rate unit
    Raises   InputProblem: another crop, something the rule asks about is not known, or a content
             is missing or below 0
    Source   the head of the rule's table
    """
    nitrate = np.asarray(nitrate_ppm, float)
    if not (nitrate >= 0).all():
        raise InputProblem(f"{np.count_nonzero(~(nitrate >= 0))} of {nitrate.size} nitrate "
                           "contents are missing or below 0 ppm.")
    if site.crop != rule.crop:
        raise InputProblem(f"The field grows {site.crop or 'a crop not entered'}; the rule "
                           f"\"{rule.title}\" is for {rule.crop}.")
    return np.maximum(_RATES[rule.kind](rule, site, nitrate), 0.0)


def _critical(rule, site, nitrate):
    """(critical content - test) x slope; the critical content falls in a wet spring."""
    numbers = _numbers(rule)
    wet = _known(rule, site, "wet_spring")
    critical = numbers["critical"]
    if wet:
        manured = _known(rule, site, "manure_since_harvest")
        critical = numbers["critical_manured_wet_spring" if manured else "critical_wet_spring"]
    return convert((critical - nitrate) * numbers["slope"], "lb/ac", site.rate_unit)


def _yield_less_credit(rule, site, nitrate):
    """Share of the yield, less a credit for each ppm by manure and the crop before."""
    numbers = _numbers(rule)
    credit = (numbers["manure_since_harvest" if _known(rule, site, "manure_since_harvest")
                      else "manure_none_since_harvest"]
              + numbers["manure_earlier" if _known(rule, site, "manure_earlier")
                        else "manure_none_earlier"]
              + numbers.get(f"after_{_known(rule, site, 'previous_crop')}",
                            numbers["after_other"]))
    base = numbers["per_yield"] * _yield_in(rule, site, "bu/ac")
    rate = np.where(nitrate >= numbers["enough"], 0.0, base - credit * nitrate)
    return convert(rate, "lb/ac", site.rate_unit)


def _yield_less_slope(rule, site, nitrate):
    """Share of the yield, less a slope for each ppm, more after a mixed cover crop."""
    numbers = _numbers(rule)
    if not _known(rule, site, "manure_earlier"):
        raise InputProblem(f"The rule \"{rule.title}\" is for fields with manure over many years, "
                           "and the record says this one had none. Choose another rule.")
    base = numbers["per_yield"] * _yield_in(rule, site, "t/ha")
    if _known(rule, site, "mixed_cover_crop"):
        base += numbers["mixed_cover_crop"]
    return convert(base - numbers["slope"] * nitrate, "kg/ha", site.rate_unit)


def _credit_by_class(rule, site, nitrate):
    """The usual rate less the credit of the nitrate's class; nothing in the last class."""
    above = np.array([float(row[0]) for row in rule.rows])
    credits = convert([np.inf if row[1] == "all" else float(row[1]) for row in rule.rows],
                      "lb/ac", site.rate_unit)
    number = np.maximum(np.searchsorted(above, nitrate, side="left") - 1, 0)
    return _known(rule, site, "usual_rate") - credits[number]


def _credit_per_ppm(rule, site, nitrate):
    """The usual rate less a credit for each ppm, from a least content on."""
    numbers = _numbers(rule)
    credit = convert(np.where(nitrate < numbers["least"], 0.0, numbers["credit"] * nitrate),
                     "lb/ac", site.rate_unit)
    return np.where(nitrate >= numbers["enough"], 0.0,
                    _known(rule, site, "usual_rate") - credit)


_RATES = {"critical": _critical, "yield_less_credit": _yield_less_credit,
          "yield_less_slope": _yield_less_slope, "credit_by_class": _credit_by_class,
          "credit_per_ppm": _credit_per_ppm}

# What each kind of rule always asks; the one by a critical content asks for manure in a wet spring.
_ASKS = {"critical": ("wet_spring",),
         "yield_less_credit": ("expected_yield", "manure_since_harvest", "manure_earlier",
                               "previous_crop"),
         "yield_less_slope": ("expected_yield", "manure_earlier", "mixed_cover_crop"),
         "credit_by_class": ("usual_rate",), "credit_per_ppm": ("usual_rate",)}

_ASKED = {
    "expected_yield": "the expected yield",
    "usual_rate": "the usual sidedress rate",
    "previous_crop": "the crop before",
    "manure_since_harvest": "whether manure was spread since the last harvest",
    "manure_earlier": "whether manure was spread in the three years before",
    "wet_spring": "whether rain since April was more than 20 % above normal",
    "mixed_cover_crop": "whether a mixed cover crop grew before",
}


def _numbers(rule):
    return {name: float(value) for name, value, _ in rule.rows}


def _known(rule, site, name):
    value = getattr(site, name)
    if value is None:
        raise InputProblem(f"field, {name} is empty: the rule \"{rule.title}\" asks for "
                           f"{_ASKED[name]}. Enter it, or choose another rule.")
    return value


def _yield_in(rule, site, unit):
    """Return the expected yield in bu/ac or t/ha."""
    value = _known(rule, site, "expected_yield")
    in_kg_per_ha = {"t/ha": 1000.0, "bu/ac": convert(bushel_kg(rule.crop), "kg/ac", "kg/ha")}
    return value * in_kg_per_ha[site.yield_unit] / in_kg_per_ha[unit]
