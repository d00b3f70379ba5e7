"""The settings of plans as a record holds them."""
from ..core.decide.replant_settings import ReplantSettings
from ..core.decide.tillage_depth import TillageSettings
from ..core.units import convert

# Costs that may be empty in a record: most fields have none of them. The others must be entered.
_REPLANT_REQUIRED = ("planting_date", "replant_date", "expected_yield", "crop_price",
                     "target_stand", "expected_emergence", "seed_unit_cost", "termination_cost",
                     "replanting_cost")
_REPLANT_OPTIONAL = ("seeds_per_unit", "seed_rebate", "other_replant_cost", "insurance_payment",
                     "moisture_kept", "moisture_replanted", "base_moisture", "drying_cost",
                     "unevenness_loss")
_TILLAGE = {"least": "tillage_least", "greatest": "tillage_greatest", "step": "tillage_step",
            "margin": "tillage_margin", "cost_per_area": "tillage_cost"}


def replant_settings(record):
    """Return the ReplantSettings of a record.

    Raises   InputProblem: a figure that the decision needs is empty, or makes no sense
    """
    required = {name: record.field_value(name) for name in _REPLANT_REQUIRED}
    optional = {name: record.field[name] for name in _REPLANT_OPTIONAL
                if record.field[name] is not None}
    return ReplantSettings(
        **required, **optional, currency=record.currency, crop=record.field_value("crop"),
        area_unit=record.units.area, grain_unit=record.units.grain)


def tillage_settings(record, *, chance_limit):
    """Return the TillageSettings of a record; the chance limit is 0 to 1.

    Raises   InputProblem: a figure that the plan needs is empty, or makes no sense
    """
    return TillageSettings(
        **{name: record.field_value(column) for name, column in _TILLAGE.items()},
        currency=record.currency, depth_unit=record.units.depth, chance_limit=chance_limit)


def smallest_zone_m2(record):
    """Return the smallest zone worth working, m2; 0 where the record names none."""
    area = record.field["smallest_zone"]
    return 0.0 if area is None else float(convert(area, record.units.area, "m2"))


def machine_width_m(record):
    """Return the width of the machine, metres; 0 where the record names none."""
    width = record.field["machine_width"]
    return 0.0 if width is None else float(convert(width, record.units.length, "m"))
