"""The settings of plans as a record holds them."""
from dataclasses import dataclass

from ..core.decide.checks import require_number
from ..core.decide.draft import Outfit, counts_tools
from ..core.decide.lime_methods import BUFFER_TITLES, LimeMethod, load_lime_method
from ..core.decide.nitrate_rules import NitrogenSite, asked_by, load_nitrate_rule
from ..core.decide.rate_sensitivity import COLUMN_OF
from ..core.decide.rate_zones import RateSettings
from ..core.decide.replant_settings import ReplantSettings
from ..core.decide.tillage_depth import TillageSettings
from ..core.decide.tillage_energy import Rig
from ..core.deliver.rate_table import Product
from ..core.problems import InputProblem
from ..core.units import convert
from ..core.zone.workable import WorkableShape
from .schema import layer_spec

# Costs that may be empty in a record: most fields have none of them. The others must be entered.
_REPLANT_REQUIRED = ("planting_date", "replant_date", "expected_yield", "crop_price",
                     "target_stand", "expected_emergence", "seed_unit_cost", "termination_cost",
                     "replanting_cost")
_REPLANT_OPTIONAL = ("seeds_per_unit", "seed_rebate", "extra_nitrogen_cost", "extra_weed_cost",
                     "other_replant_cost", "insurance_payment", "moisture_kept",
                     "moisture_replanted", "base_moisture", "drying_cost", "unevenness_loss")
_TILLAGE = {"least": "tillage_least", "greatest": "tillage_greatest", "step": "tillage_step",
            "margin": "tillage_margin", "cost_per_area": "tillage_cost"}
# What rules ask about the site that a record keeps under another name.
_RIG = ("tillage_tool", "tillage_speed", "field_efficiency", "soil_texture", "tractor",
        "tractor_surface", "tractor_power")
LEAST_TARGET, GREATEST_TARGET = 0.4, 2.0  # target stand over seeds planted: our own choice


def replant_settings(record):
    """Return the ReplantSettings of a record.

    Raises   InputProblem: figures that the decision needs are empty, all of them named, or one
             makes no sense
    """
    required = record.field_values(("crop", *_REPLANT_REQUIRED))
    optional = {name: record.field[name] for name in _REPLANT_OPTIONAL
                if record.field[name] is not None}
    return ReplantSettings(
        **required, **optional, currency=record.currency, area_unit=record.units.area,
        grain_unit=record.units.grain)


def setting_titles():
    """Return what the field's form calls each setting: dict of column to title."""
    return {column.name: column.title for column in layer_spec("field").columns}


def replant_not_entered(record):
    """Return the optional figures that a record leaves empty, so that they count as nothing."""
    return tuple(name for name in _REPLANT_OPTIONAL
                 if record.field[name] is None and layer_spec("field").column(name).default is None)


def replant_doubts(record):
    """Return sentences about figures of the replant decision that are unlikely, though possible."""
    field, doubts = record.field, []
    target, seeds = field["target_stand"], field["seeds_planted"]
    if target is not None and seeds is not None and seeds > 0 \
            and not LEAST_TARGET <= target / seeds <= GREATEST_TARGET:
        doubts.append(
            f"field, target_stand: {target:,.0f} {record.units.population} are wanted, but "
            f"{seeds:,.0f} {record.units.seeding} were planted. Check both figures and their "
            "unit. Used as they are.")
    visit, replant = field["visit_date"], field["replant_date"]
    if visit is not None and replant is not None and visit > replant:
        doubts.append(
            f"field, replant_date: {replant} is before the visit ({visit}). Enter the day the "
            "field could be replanted. Used as it is.")
    return tuple(doubts)


def tillage_settings(record, *, chance_limit):
    """Return the TillageSettings of a record; the chance limit is 0 to 1.

    Raises   InputProblem: figures that the plan needs are empty, all of them named, or one makes
             no sense
    """
    values = record.field_values(tuple(_TILLAGE.values()))
    return TillageSettings(
        **{name: values[column] for name, column in _TILLAGE.items()},
        currency=record.currency, depth_unit=record.units.depth, chance_limit=chance_limit)


def sidedress_settings(record, rule_name=None):
    """Return the NitrateRule, the NitrogenSite and the RateSettings of a record's sidedressing.

    Parameters
        record     Record
        rule_name  one of `nitrate_rules`; None takes the record's
    Raises   InputProblem: figures that the rule or the rates need are empty, all of them named,
             the field grows another crop than the rule is for, or a figure makes no sense
    """
    field = record.field
    rule = load_nitrate_rule(rule_name or record.field_value("nitrate_rule"))
    asked = [COLUMN_OF.get(name, name) for name in asked_by(rule, wet_spring=field["wet_spring"])]
    record.field_values(("crop", *asked, "nitrogen_greatest", "nitrogen_step"))
    if field["crop"] != rule.crop:
        raise InputProblem(f"The field grows {field['crop']}, so no sidedress plan is made: the "
                           f"rule \"{rule.title}\" is for {rule.crop}.")
    unit = record.units.nitrogen_rate
    site = NitrogenSite(
        rate_unit=unit, yield_unit=record.units.grain_yield, usual_rate=field["usual_nitrogen"],
        **{name: field[name] for name in (
            "crop", "expected_yield", "previous_crop", "manure_since_harvest", "manure_earlier",
            "wet_spring", "mixed_cover_crop")})
    return rule, site, RateSettings(
        product="nitrogen", rate_unit=unit, currency=record.currency, step=field["nitrogen_step"],
        greatest=field["nitrogen_greatest"], least=field["nitrogen_least"] or 0.0,
        usual_rate=field["usual_nitrogen"], price=field["nitrogen_price"])


def sidedress_product(record):
    """Return the Product that a record's nitrogen comes in; None where its content is empty.

    Raises   InputProblem: a content or a density that makes no sense
    """
    content, density = (record.field[name] for name in ("nitrogen_content", "nitrogen_density"))
    if content is None:
        return None
    require_number("nitrogen_content", content, "%", above=0, at_most=100)
    if density is not None:
        require_number("nitrogen_density", density, record.units.density, above=0)
        density = float(convert(density, record.units.density, "kg/L"))
    return Product(content / 100, density)


@dataclass(frozen=True)
class LimeSettings:
    """What a lime plan rests on besides pH and buffer pH.

    method             LimeMethod, of the buffer that the laboratory used
    spread             RateSettings
    target_ph, depth_m the pH wanted, and down to which depth, metres
    effective_percent  of the lime as it is bought
    """
    method: LimeMethod
    spread: RateSettings
    target_ph: float
    depth_m: float
    effective_percent: float


def lime_settings(record, method_name=None, *, effective_percent=None):
    """Return the LimeSettings of a record.

    Parameters
        record             Record
        method_name        one of `lime_methods`; None takes the record's
        effective_percent  of the lime; None takes the record's
    Raises   InputProblem: figures that the plan needs are empty, all of them named, the method is
             for another buffer than the laboratory's, or a figure makes no sense
    """
    method = load_lime_method(method_name or record.field_value("lime_method"))
    needed = ("lime_buffer", "target_ph", "lime_depth", "lime_greatest", "lime_step")
    values = record.field_values(
        needed if effective_percent is not None else (*needed, "lime_quality"))
    if values["lime_buffer"] != method.buffer:
        raise InputProblem(
            f"field, lime_buffer: the laboratory used the {BUFFER_TITLES[values['lime_buffer']]} "
            f"buffer, but the method \"{method.title}\" is for the "
            f"{BUFFER_TITLES[method.buffer]} buffer alone. Choose a method for that buffer.")
    return LimeSettings(
        method=method, target_ph=values["target_ph"],
        depth_m=float(convert(values["lime_depth"], record.units.depth, "m")),
        effective_percent=(values["lime_quality"] if effective_percent is None
                           else effective_percent),
        spread=RateSettings(
            product="lime", rate_unit=record.units.lime_rate, currency=record.currency,
            step=values["lime_step"], greatest=values["lime_greatest"],
            least=record.field["lime_least"] or 0.0, price=record.field["lime_price"]))


def tillage_rig(record):
    """Return the Rig of a record, and the titles of what it lacks; the rig is None where any.

    The fuel price may be empty: it is among the titles, but the rig is there without it.

    Raises   InputProblem: a figure makes no sense, such as a speed of 0
    """
    field, units = record.field, record.units
    width = "tillage_width" if field["tillage_width"] is not None else "machine_width"
    wanted = [*_RIG, width]
    if field["tillage_tool"] is not None and counts_tools(field["tillage_tool"]):
        wanted.insert(1, "tillage_shanks")
    titles = setting_titles()
    lacking = tuple(titles[name] for name in wanted if field[name] in (None, ""))
    for name, unit in (("tillage_speed", units.speed), ("field_efficiency", "%"),
                       ("tractor_power", units.power), (width, units.length)):
        if field[name] is not None:
            require_number(f"field, {name}", field[name], unit, above=0)
    price = field["fuel_price"]
    if price is not None:
        require_number("field, fuel_price", price, f"{record.currency}/{units.fuel}", above=0)
    if lacking:
        return None, lacking
    outfit = Outfit(
        tool=field["tillage_tool"], texture=field["soil_texture"], tools=field["tillage_shanks"],
        width_m=float(convert(field[width], units.length, "m")),
        speed_km_h=float(convert(field["tillage_speed"], units.speed, "km/h")),
        field_efficiency=field["field_efficiency"] / 100, tractor=field["tractor"],
        surface=field["tractor_surface"],
        rated_pto_kw=float(convert(field["tractor_power"], units.power, "kW")))
    return Rig(outfit, units, price), (titles["fuel_price"],) if price is None else ()


def workable_shape(record):
    """Return the WorkableShape of zones that the record's machine can run along its rows.

    A zone is nowhere narrower than the machine. What the record does not say asks nothing.
    """
    width, smallest = (0.0 if value is None else float(convert(value, unit, to))
                       for value, unit, to in (
                           (record.field["machine_width"], record.units.length, "m"),
                           (record.field["smallest_zone"], record.units.area, "m2")))
    return WorkableShape(machine_width_m=width, heading_deg=record.field["row_heading"],
                         smallest_area_m2=smallest, smallest_width_m=width)
