"""The forms of a record as data: their pages, what a new row starts with, and what is asked.

Expressions are those of QGIS. They ask other layers by the titles these have in the record's
project, so that the record can be filled in any QGIS; see `gui.record_layers` for how the plugin
ties them to one record where a project holds several.
"""
from dataclasses import dataclass

from ..core.observe.soil import core_depth
from ..core.units import convert
from .likely import likely_ranges
from .schema import LIME, NITROGEN, layer_spec
from .stops import APART_M

# Layers that the expressions below ask by their title.
LAYERS_ASKED = ("field", "stand_counts")


@dataclass(frozen=True)
class Group:
    """One page or box of a form: columns, then boxes, then a table of parts.

    table       child layer whose rows are listed in it, "" for none
    shown_when  expression, "" for always
    """
    title: str
    columns: tuple = ()
    boxes: tuple = ()
    table: str = ""
    shown_when: str = ""


@dataclass(frozen=True)
class Rule:
    """What must hold in a column besides its own limits, and what is wrong when it doesn't.

    hard   a row that breaks it cannot be saved: it cannot be true. Soft only on columns without
           limits of their own, for a column holds one constraint of one strength
    """
    holds: str
    words: str
    hard: bool = True


# Pages of the forms that have several. What names a row for good comes last in every form.
PAGES = {
    "field": (
        Group("Field", ("name", "grower", "crop", "season", "units", "planting_date",
                        "visit_date", "seeds_planted", "row_width", "row_heading",
                        "planter_rows")),
        Group("Yield and price", ("expected_yield", "crop_price", "currency")),
        Group("Replanting", (
            "replant_date", "target_stand", "expected_emergence", "seed_unit_cost",
            "seeds_per_unit", "seed_rebate", "termination_cost", "replanting_cost",
            "extra_nitrogen_cost", "extra_weed_cost", "other_replant_cost", "insurance_payment",
            "moisture_kept", "moisture_replanted", "base_moisture", "drying_cost",
            "unevenness_loss")),
        Group("Tillage", ("pan_limit", "tillage_margin", "tillage_least", "tillage_greatest",
                          "tillage_step", "tillage_cost"), (
            Group("Tool and tractor", (
                "tillage_tool", "tillage_shanks", "tillage_width", "tillage_speed",
                "field_efficiency", "soil_texture", "tractor", "tractor_surface", "tractor_power",
                "fuel_price")),)),
        Group("Nitrogen", tuple(column.name for column in NITROGEN)),
        Group("Lime", tuple(column.name for column in LIME)),
        Group("Plan", ("machine_width", "smallest_zone", "note"))),
    "stand_counts": (
        Group("Count", ("stop", "taken_at", "method", "plants"), (
            Group("Row or wheel", ("length", "rows", "row_width"),
                  shown_when="coalesce(\"method\", '') <> 'hoop'"),
            Group("Hoop", ("hoop_diameter", "hoops"), shown_when="\"method\" = 'hoop'"))),
        Group("Single rows", table="row_counts"),
        Group("Tape", table="plant_positions"),
        Group("Crop and notes", ("leaf_collars", "growth_stage_bbch", "evenness", "note",
                                 "photo"))),
    "seed_depths": (
        Group("Seed", ("stop", "taken_at", "row_unit", "depth", "emerged", "note")),),
    "compaction_readings": (
        Group("Insertion", ("stop", "taken_at", "means", "moisture", "place", "refusal",
                            "deepest"), (
            Group("Felt layer", ("felt_top", "felt_bottom"), shown_when="\"means\" = 'felt'"),)),
        Group("Gauge", ("cone",), table="compaction_profile",
              shown_when="coalesce(\"means\", '') <> 'felt'"),
        Group("Notes", ("note", "photo"))),
    "probe_points": (
        Group("Sample", ("stop", "taken_at", "core_type", "top_depth", "bottom_depth", "cores",
                         "sample_number"), (
            Group("Surface, read in the field", ("surface_ph", "surface_ph_method",
                                                 "surface_ph_depth")),)),
        Group("Results", ("ph", "ph_method", "buffer_ph", "organic_matter", "phosphorus_ppm",
                          "potassium_ppm", "nitrate_n_ppm", "soil_moisture")),
        Group("Notes", ("note", "photo"))),
    "scout_notes": (
        Group("What was seen", ("stop", "taken_at", "subject", "seen"), (
            Group("Which", ("organism",),
                  shown_when="\"subject\" IN ('insect', 'disease', 'weed')"),
            Group("Dug and washed roots", ("root_rating", "roots_turn_at"),
                  shown_when="\"subject\" = 'root'"))),
        Group("How much", ("plants_checked", "plants_affected", "incidence", "severity")),
        Group("Crop and notes", ("leaf_collars", "growth_stage_bbch", "note", "photo"))),
}

RULES = {
    ("field", "visit_date"): Rule(
        "\"planting_date\" IS NULL OR \"visit_date\" >= \"planting_date\"",
        "the visit was before the planting; check both days.", hard=False),
    ("field", "replant_date"): Rule(
        "\"planting_date\" IS NULL OR \"replant_date\" > \"planting_date\"",
        "enter a day after the planting date."),
    ("field", "tillage_greatest"): Rule(
        "\"tillage_least\" IS NULL OR \"tillage_greatest\" >= \"tillage_least\"",
        "enter no less than the least tillage depth."),
    ("field", "nitrogen_greatest"): Rule(
        "\"nitrogen_greatest\" >= coalesce(\"nitrogen_least\", 0)",
        "enter no less than the least nitrogen rate."),
    ("field", "lime_greatest"): Rule(
        "\"lime_greatest\" >= coalesce(\"lime_least\", 0)",
        "enter no less than the least lime rate."),
    ("compaction_readings", "felt_bottom"): Rule(
        "\"felt_top\" IS NULL OR \"felt_bottom\" > \"felt_top\"", "enter more than the felt top."),
    ("probe_points", "bottom_depth"): Rule(
        "\"bottom_depth\" > coalesce(\"top_depth\", 0)", "enter more than the top."),
    ("scout_notes", "plants_affected"): Rule(
        "\"plants_checked\" IS NULL OR \"plants_affected\" <= \"plants_checked\"",
        "enter no more than the plants checked."),
}
TAKEN_AT_RULE = Rule("\"taken_at\" <= now() + to_interval('1 day')",
                     "this is in the future; check date and time.", hard=False)

# What rows are called in lists, which QGIS sorts as texts: numbers of a width stand in their order.
STOP_NAME = "'stop ' || coalesce(\"stop\", '?')"
ROW_NAMES = {
    "field": "coalesce(\"name\", 'field')",
    "stand_counts": STOP_NAME,
    "row_counts": "'row unit ' || lpad(coalesce(\"row_unit\", '?'), 2, ' ') || ': ' || "
                  "coalesce(\"plants\", '?') || ' plants'",
    "plant_positions": "'row unit ' || lpad(coalesce(\"row_unit\", '?'), 2, ' ') || ', at ' || "
                       "lpad(coalesce(format_number(\"position\", 1), '?'), 7, ' ')",
    "seed_depths": STOP_NAME,
    "compaction_readings": STOP_NAME,
    "compaction_profile": "lpad(coalesce(format_number(\"depth\", 1), '?'), 6, ' ') || ': ' || "
                          "coalesce(\"resistance\", '?')",
    "probe_points": STOP_NAME,
    "scout_notes": STOP_NAME,
    "yield_points": "'point ' || \"fid\"",
}

# What the tip over a point of the map lists, where it is entered.
TIPS = {
    "field": ("crop", "season", "planting_date", "visit_date"),
    "stand_counts": ("taken_at", "method", "plants", "length", "rows", "hoop_diameter", "hoops",
                     "growth_stage_bbch", "leaf_collars", "evenness", "note", "photo"),
    "seed_depths": ("row_unit", "depth", "emerged", "note"),
    "compaction_readings": ("taken_at", "means", "cone", "moisture", "place", "refusal",
                            "felt_top", "felt_bottom", "deepest", "note", "photo"),
    "probe_points": ("sample_number", "core_type", "top_depth", "bottom_depth", "ph", "ph_method",
                     "surface_ph", "surface_ph_method", "buffer_ph", "nitrate_n_ppm", "note",
                     "photo"),
    "scout_notes": ("subject", "organism", "seen", "incidence", "severity", "root_rating",
                    "roots_turn_at", "note", "photo"),
    "yield_points": ("season", "crop", "dry_yield", "flow", "moisture"),
}


def default_of(layer, column, unit_system):
    """Return the expression a new row of a form starts with in a column, "" for none.

    A stop's number counts on; a reading of another layer gets that of the stop it is taken at.
    What seldom changes during a walk is taken over from the last row. Nothing is worked out from
    other columns of the row: that would have to be done again at each change, over what is typed.
    """
    fixed = {"reading_id": "uuid('WithoutBraces')", "taken_at": "now()"}.get(column.name)
    if fixed:
        return fixed
    found = _defaults(unit_system).get((layer, column.name))
    if found is not None:
        return found
    if column.name == "stop":
        return f"array_first(overlay_nearest('{_title('stand_counts')}', \"stop\", " \
               f"max_distance:={APART_M:g}))"
    if column.default is None:
        return ""
    return f"'{column.default}'" if isinstance(column.default, str) else f"{column.default}"


def _defaults(unit_system):
    short = round(float(convert(core_depth("short").usual_m, "m", unit_system.depth)))
    return {
        ("stand_counts", "stop"): "coalesce(maximum(\"stop\"), 0) + 1",
        ("stand_counts", "method"): _last("method", "'row_length'"),
        ("stand_counts", "row_width"): f"aggregate('{_title('field')}', 'max', \"row_width\")",
        ("compaction_readings", "means"): _last("means", "'gauge'"),
        ("compaction_readings", "cone"): _last("cone"),
        ("compaction_readings", "moisture"): _last("moisture"),
        ("probe_points", "core_type"): _last("core_type", "'short'"),
        ("probe_points", "top_depth"): _last("top_depth", "0"),
        ("probe_points", "bottom_depth"): _last("bottom_depth", f"{short}"),
        ("probe_points", "cores"): _last("cores"),
        ("probe_points", "ph_method"): _last("ph_method"),
        ("probe_points", "surface_ph_method"): _last("surface_ph_method"),
        ("probe_points", "surface_ph_depth"): _last("surface_ph_depth"),
    }


def _last(column, otherwise="NULL"):
    return f"coalesce(array_last(array_agg(\"{column}\", order_by:=\"taken_at\")), {otherwise})"


def _title(layer):
    return layer_spec(layer).title


def asked_of(layer, columns, unit_system, titles):
    """Return the boxes that ask about unlikely values: shown only where there is one.

    A column holds one constraint, of one strength. Where that forbids what cannot be, what is
    merely unlikely is asked about in a box of its own, which keeps nobody from saving.

    Parameters
        layer        name of the layer
        columns      names of the columns on the page
        unit_system  core.units.UnitSystem of the record
        titles       dict of column name to its title with unit
    Returns  list of Group, without columns
    """
    ranges = likely_ranges(layer, unit_system)
    boxes = [Group(words, shown_when=shown_when)
             for on, shown_when, words in _questions(layer, unit_system) if on in columns]
    for name in columns:
        low, high = ranges.get(name, (None, None))
        for limit, sign, word in ((low, "<", "below"), (high, ">", "above")):
            if limit is not None:
                boxes.append(Group(f"{titles[name]}: {word} {limit:,g} is unlikely. Check it.",
                                   shown_when=f"\"{name}\" {sign} {limit:.10g}"))
    return boxes


def _questions(layer, unit_system):
    """Return (column, when to ask, words) of what several columns together make unlikely."""
    if layer == "stand_counts":
        yield ("plants", "NOT ((\"plants\" IS NOT NULL AND (\"method\" = 'hoop' OR \"length\" IS "
               "NOT NULL)) OR coalesce(relation_aggregate('row_counts_of_stand_counts', 'count', "
               "\"plants\"), 0) > 0)",
               "Enter plants and length, or count the rows one by one.")
    if layer in ("stand_counts", "scout_notes"):
        yield ("growth_stage_bbch",
               "\"growth_stage_bbch\" <= 19 AND (\"growth_stage_bbch\" - 10 < \"leaf_collars\" - 1 "
               "OR \"growth_stage_bbch\" - 10 > \"leaf_collars\" + 2)",
               "Leaf collars and growth stage do not agree. Check both.")
    if layer == "probe_points":
        for core, words in (("nitrate", "A nitrate core"), ("short", "A short core")):
            depth = core_depth(core)
            least, most = (round(float(convert(end, "m", unit_system.depth)))
                           for end in (depth.least_m, depth.most_m))
            yield ("bottom_depth",
                   f"\"core_type\" = '{core}' AND (\"bottom_depth\" < {least} OR "
                   f"\"bottom_depth\" > {most})",
                   f"{words} ends at {least} to {most} {unit_system.depth}; check it.")
        yield "ph", "\"ph\" IS NOT NULL AND \"ph_method\" IS NULL", "Say how the pH was found."
        yield ("surface_ph", "\"surface_ph\" IS NOT NULL AND (\"surface_ph_method\" IS NULL OR "
               "\"surface_ph_depth\" IS NULL)", "Say how and how deep the surface pH was read.")
