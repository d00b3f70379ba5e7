"""The settings of plans as a record holds them."""
from ..core.decide.replant_settings import ReplantSettings
from ..core.decide.tillage_depth import TillageSettings
from ..core.units import convert
from .schema import layer_spec

# Costs that may be empty in a record: most fields have none of them. The others must be entered.
_REPLANT_REQUIRED = ("planting_date", "replant_date", "expected_yield", "crop_price",
                     "target_stand", "expected_emergence", "seed_unit_cost", "termination_cost",
                     "replanting_cost")
_REPLANT_OPTIONAL = ("seeds_per_unit", "seed_rebate", "other_replant_cost", "insurance_payment",
                     "moisture_kept", "moisture_replanted", "base_moisture", "drying_cost",
                     "unevenness_loss")
_TILLAGE = {"least": "tillage_least", "greatest": "tillage_greatest", "step": "tillage_step",
            "margin": "tillage_margin", "cost_per_area": "tillage_cost"}
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


def smallest_zone_m2(record):
    """Return the smallest zone worth working, m2; 0 where the record names none."""
    area = record.field["smallest_zone"]
    return 0.0 if area is None else float(convert(area, record.units.area, "m2"))


def machine_width_m(record):
    """Return the width of the machine, metres; 0 where the record names none."""
    width = record.field["machine_width"]
    return 0.0 if width is None else float(convert(width, record.units.length, "m"))
