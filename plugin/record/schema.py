"""The field record as data: its layers, their columns, and the unit of every number."""
from dataclasses import dataclass

from ..core.decide.draft import SURFACES, TEXTURES, draft_tools, tractors
from ..core.decide.lime_methods import BUFFER_TITLES, lime_methods
from ..core.decide.nitrate_rules import PREVIOUS_CROPS, nitrate_rules
from ..core.problems import InputProblem

KINDS = ("text", "int", "real", "bool", "date", "datetime")

# What a form shows where the stored word alone would not do.
VALUE_TITLES = {
    "us": "US: in, ft, ac, psi, bu",
    "metric": "metric: cm, m, ha, kPa, t",
    "row_length": "length of row",
    "wheel": "measuring wheel",
    "gauge": "gauge (penetrometer)",
    "felt": "felt (rod or probe)",
    "at_capacity": "at field capacity",
    "no": "no refusal",
    "layer": "stopped by a layer",
    "stone": "stopped by a stone",
    "meter": "pH meter",
    "strip": "paper strip",
    "slurry": "meter, in stirred soil",
    "insertion": "meter, in the ground",
    "short": "short core, 7 in (18 cm)",
    "nitrate": "nitrate core, 12 in (30 cm)",
    **nitrate_rules(), **lime_methods(), **BUFFER_TITLES,
    **draft_tools(),
    "fine": "fine (clay)",
    "medium": "medium (loam)",
    "coarse": "coarse (sand)",
    "firm": "firm (not worked)",
    "tilled": "tilled (worked before)",
    "soft": "soft (loose or wet)",
}


@dataclass(frozen=True)
class ColumnSpec:
    """One column: what it holds, in which quantity, and what is allowed in it.

    values    the words allowed, all of them when empty
    low, high the least and the greatest number allowed, both included
    quantity  a key of `unit_of`; None for what has no unit
    """
    name: str
    kind: str
    title: str
    description: str
    quantity: str = None
    required: bool = False
    default: object = None
    values: tuple = ()
    low: float = None
    high: float = None


@dataclass(frozen=True)
class LayerSpec:
    """One layer or table of the record.

    geometry  "polygon", "point" or "none"
    parent    None, or the layer a row belongs to and the column that holds its reading_id
    """
    name: str
    geometry: str
    title: str
    columns: tuple
    parent: tuple = None

    def column(self, name):
        """Return the column of that name.

        Raises   InputProblem: the layer has no such column
        """
        for column in self.columns:
            if column.name == name:
                return column
        raise InputProblem(f"{self.name} has no column {name}; it has "
                           f"{', '.join(column.name for column in self.columns)}.")


def title_of_value(value):
    """Return the words a form shows for a stored value."""
    return VALUE_TITLES.get(value, value.replace("_", " "))


def title_with_unit(column, unit_system, currency):
    """Return the column's title with its unit in brackets, such as "Seed depth (in)"."""
    unit = unit_of(column, unit_system, currency)
    return f"{column.title} ({unit})" if unit else column.title


def description_with_unit(column, unit_system, currency):
    """Return the column's description ending in its unit, such as "... Unit: in."."""
    unit = unit_of(column, unit_system, currency)
    return f"{column.description} Unit: {unit}." if unit else column.description


def unit_of(column, unit_system, currency):
    """Return the unit in which a column is kept, "" for what has none.

    Parameters
        column       ColumnSpec
        unit_system  core.units.UnitSystem of the record
        currency     the record's currency, such as USD
    Raises   KeyError: the column names a quantity that is not known here
    """
    if column.quantity is None:
        return ""
    return {
        "depth": unit_system.depth,
        "length": unit_system.length,
        "area": unit_system.area,
        "pressure": unit_system.pressure,
        "population": unit_system.population,
        "seeding": unit_system.seeding,
        "grain_yield": unit_system.grain_yield,
        "flow": unit_system.flow,
        "nitrogen_rate": unit_system.nitrogen_rate,
        "lime_rate": unit_system.lime_rate,
        "money_per_nitrogen": f"{currency}/{unit_system.nitrogen_rate.split('/')[0]}",
        "money_per_lime": f"{currency}/{unit_system.lime_rate.split('/')[0]}",
        "speed": unit_system.speed,
        "power": unit_system.power,
        "density": unit_system.density,
        "money_per_fuel": f"{currency}/{unit_system.fuel}",
        "money_per_area": unit_system.money_per_area(currency),
        "money_per_grain": f"{currency}/{unit_system.grain}",
        "money_per_point_of_grain": f"{currency}/point/{unit_system.grain}",
        "money_per_seed_unit": f"{currency}/seed unit",
        "seeds_per_unit": "seeds/seed unit",
        "percent": "%",
        "points": "percentage points",
        "degrees": "degrees",
        "ppm": "ppm",
        "seconds": "s",
    }[column.quantity]


def layer_spec(name):
    """Return the specification of a layer of the record.

    Raises   InputProblem: a record has no such layer
    """
    for layer in LAYERS:
        if layer.name == name:
            return layer
    raise InputProblem(f"A record has no layer {name}; it has "
                       f"{', '.join(layer.name for layer in LAYERS)}.")


def _text(name, title, description, **options):
    return ColumnSpec(name, "text", title, description, **options)


def _whole(name, title, description, **options):
    return ColumnSpec(name, "int", title, description, **{"low": 0, **options})


def _number(name, quantity, title, description, **options):
    return ColumnSpec(name, "real", title, description, quantity=quantity,
                      **{"low": 0, **options})


def _percent(name, title, description, **options):
    return _number(name, "percent", title, description, **{"high": 100, **options})


def _child_of(name, title, description):
    return _text(name, title, description, required=True)


READING_ID = _text("reading_id", "Reading id", "Names this row for good; made by itself.",
                   required=True)
STOP = _whole("stop", "Stop", "Number of the stop, as on the walk.")
TAKEN_AT = ColumnSpec("taken_at", "datetime", "Taken at",
                      "Clock time in the field when the reading was taken, no time zone.")
NOTE = _text("note", "Note", "Anything worth knowing about this row.")
PHOTO = _text("photo", "Photo", "Picture, by its path relative to the record.")
GROWTH_STAGE = (
    _whole("growth_stage_bbch", "Growth stage (BBCH)", "Two digits of the BBCH scale.", high=99),
    _whole("leaf_collars", "Leaf collars",
           "Corn: leaves with a visible collar. Soybean: unfolded leaves of three leaflets.",
           high=30))
ROW_UNIT = _whole("row_unit", "Planter row unit",
                  "Row unit of the planter that sowed the row, counted from the left.", low=1)

def _truth(name, title, description):
    return ColumnSpec(name, "bool", title, description)


# What the sidedress plan asks besides expected yield and nitrate.
NITROGEN = (
    _text("nitrate_rule", "Nitrate rule", "Published rule by which nitrogen is sidedressed.",
          values=tuple(nitrate_rules())),
    _text("previous_crop", "Crop before", "The crop that stood in the field before this one.",
          values=PREVIOUS_CROPS),
    _truth("manure_since_harvest", "Manure since harvest",
           "Whether manure was spread since the last harvest."),
    _truth("manure_earlier", "Manure earlier",
           "Whether manure was spread in the three years before."),
    _truth("wet_spring", "Wet spring",
           "Whether rain since April was more than 20 % above normal."),
    _truth("mixed_cover_crop", "Mixed cover crop",
           "Whether a mixture of cover crops grew before this crop."),
    _number("usual_nitrogen", "nitrogen_rate", "Usual nitrogen rate",
            "Nitrogen sidedressed without a test; for rules that ask for it the economic rate."),
    _number("nitrogen_least", "nitrogen_rate", "Least nitrogen rate",
            "Least that is worth a pass, or that can be set."),
    _number("nitrogen_greatest", "nitrogen_rate", "Greatest nitrogen rate",
            "No place gets more in this pass."),
    _number("nitrogen_step", "nitrogen_rate", "Nitrogen step", "By which steps the rate is set."),
    _number("nitrogen_price", "money_per_nitrogen", "Nitrogen price",
            "Of nitrogen itself, not of the product."),
    _percent("nitrogen_content", "Nitrogen in the product",
             "By mass, as the product's label says, such as 46 for urea; rate files then count "
             "the product."),
    _number("nitrogen_density", "density", "Density of the product",
            "Of a liquid, as its label says; rate files then count its volume."))

# What the lime plan asks besides pH and buffer pH.
LIME = (
    _text("lime_method", "Lime method", "Published method by which lime is worked out.",
          values=tuple(lime_methods())),
    _text("lime_buffer", "Buffer test", "The buffer by which the laboratory found the buffer pH.",
          values=tuple(BUFFER_TITLES)),
    _number("target_ph", None, "Target pH", "The pH, which has no unit, that the lime is to bring.",
            high=14),
    _number("lime_depth", "depth", "Lime depth", "Down to which depth the lime is worked in."),
    _number("lime_quality", "percent", "Lime quality",
            "Effective share of the lime that is bought, fineness and neutralizing value "
            "together.", high=200),
    _number("lime_least", "lime_rate", "Least lime rate",
            "Least that is worth a pass, or that can be spread."),
    _number("lime_greatest", "lime_rate", "Greatest lime rate", "No place gets more at a time."),
    _number("lime_step", "lime_rate", "Lime step", "By which steps the rate is set."),
    _number("lime_price", "money_per_lime", "Lime price", "Of the lime as bought, spread."))

# What tool, tractor and soil take to work at a depth; asked for by the draft table.
_TILLAGE_OUTFIT = (
    _text("tillage_tool", "Tillage tool", "Kind of tool, as the draft table of ASABE D497 has it.",
          values=tuple(draft_tools())),
    _whole("tillage_shanks", "Shanks", "Shanks or points of the tool; a plow or a disk has none.",
           low=1),
    _number("tillage_width", "length", "Tillage width",
            "Working width of the tillage tool; where empty, the machine width."),
    _number("tillage_speed", "speed", "Tillage speed", "Speed at which the tool is pulled."),
    _percent("field_efficiency", "Field efficiency",
             "Share of the time in the field in which the tool works; 70 to 90 for a subsoiler."),
    _text("soil_texture", "Soil texture", "Texture of the soil that the tool works.",
          values=TEXTURES),
    _text("tractor", "Tractor", "How the tractor drives.", values=tractors()),
    _text("tractor_surface", "Ground under the tractor", "What the tractor drives on.",
          values=SURFACES),
    _number("tractor_power", "power", "Tractor power", "Rated power at the take-off (PTO)."),
    _number("fuel_price", "money_per_fuel", "Fuel price",
            "Price of diesel. Example only: Iowa State University reckoned with 3.39 USD/gal in "
            "2023."),
)

_FIELD = LayerSpec("field", "polygon", "Field", (
    READING_ID,
    _text("name", "Field name", "What the field is called."),
    _text("grower", "Grower", "For whom the call is made."),
    _text("crop", "Crop", "The crop that stands in the field.",
          values=("corn", "soybean", "wheat", "sorghum", "other")),
    _whole("season", "Season", "Year of the harvest.", low=1900, high=2200),
    _text("units", "Units", "The units in which this whole record is kept. Fixed when it is made.",
          required=True, values=("us", "metric")),
    ColumnSpec("planting_date", "date", "Planting date", "Day the stand was planted."),
    ColumnSpec("visit_date", "date", "Visit date", "Day of the field call."),
    _number("seeds_planted", "seeding", "Seeds planted", "Seeds the planter dropped per area."),
    _number("row_width", "depth", "Row width", "From one row to the next."),
    _number("row_heading", "degrees", "Row heading",
            "Direction of the rows, clockwise from north.", high=180),
    _whole("planter_rows", "Planter rows", "Rows the planter sows in one pass.", low=1),
    _number("expected_yield", "grain_yield", "Expected yield",
            "Yield of a full stand planted at the best date."),
    _number("crop_price", "money_per_grain", "Crop price",
            "What the grain is expected to bring. Example only: crop insurance projected 4.66 "
            "USD/bu of corn and 11.55 USD/bu of soybean for 2024."),
    _text("currency", "Currency", "Three-letter code of the money in this record.",
          default="USD", required=True),
    ColumnSpec("replant_date", "date", "Replant date", "Day a replanting could be done."),
    _number("target_stand", "population", "Target stand", "Plants wanted after a replanting."),
    _percent("expected_emergence", "Expected emergence",
             "Share of the replanted seeds expected to become plants."),
    _number("seed_unit_cost", "money_per_seed_unit", "Seed cost",
            "Price of one unit of seed. Example only: seed for corn cost 123 USD/ac, for soybean "
            "74 USD/ac in Indiana in 2015."),
    _whole("seeds_per_unit", "Seeds per unit", "Seeds in one unit of seed.",
           quantity="seeds_per_unit", default=80000, low=1, high=10_000_000),
    _percent("seed_rebate", "Seed rebate", "Share of the seed's cost given back for a replanting."),
    _number("termination_cost", "money_per_area", "Cost of ending the stand",
            "Tillage or herbicide that takes out the old stand. Example only: 10 USD/ac in Iowa in "
            "2006."),
    _number("replanting_cost", "money_per_area", "Cost of planting again",
            "The planter's pass, without the seed. Example only: planting corn for hire cost about "
            "25 USD/ac in Ohio in 2025."),
    _number("other_replant_cost", "money_per_area", "Other costs of replanting",
            "Everything else a replanting costs, such as labor or a second starter."),
    _number("extra_nitrogen_cost", "money_per_area", "Extra nitrogen",
            "Nitrogen that a replanting makes necessary, with its pass."),
    _number("extra_weed_cost", "money_per_area", "Extra weed control",
            "Weed control that a replanting makes necessary, with its pass."),
    _number("insurance_payment", "money_per_area", "Insurance payment",
            "What the insurance pays towards a replanting. Example only: 18.45 USD/ac of "
            "soybean in Iowa in 1998, 3 bu at 6.15 USD/bu."),
    _percent("moisture_kept", "Moisture if kept", "Grain moisture at harvest of the stand kept."),
    _percent("moisture_replanted", "Moisture if replanted",
             "Grain moisture at harvest of a stand planted again."),
    _percent("base_moisture", "Base moisture", "Grain moisture up to which no drying is paid."),
    _number("drying_cost", "money_per_point_of_grain", "Drying cost",
            "To take one point of moisture out of one measure of grain."),
    _number("unevenness_loss", "points", "Loss by unevenness",
            "Taken off the yield percentage of the stand kept, because it came up unevenly.",
            high=100),
    _number("pan_limit", "pressure", "Limit of a pan",
            "Resistance from which a layer counts as a pan."),
    _number("tillage_margin", "depth", "Tillage margin",
            "How far below the bottom of the pan the tool is to run."),
    _number("tillage_least", "depth", "Least tillage depth", "Shallowest depth the tool is run."),
    _number("tillage_greatest", "depth", "Greatest tillage depth", "Deepest the tool reaches."),
    _number("tillage_step", "depth", "Tillage step", "By which steps the tool's depth is set."),
    _number("tillage_cost", "money_per_area", "Tillage cost",
            "What the pass of deep tillage costs, fuel included. Example only: a deep ripper cost "
            "23.45 USD/ac for hire in Iowa in 2019 (median)."),
    *_TILLAGE_OUTFIT,
    *NITROGEN,
    *LIME,
    _number("machine_width", "length", "Machine width",
            "Working width of the machine that follows the plan."),
    _number("smallest_zone", "area", "Smallest zone", "Smallest piece worth treating by itself."),
    NOTE,
))

_STAND_COUNTS = LayerSpec("stand_counts", "point", "Stand counts", (
    READING_ID, STOP, TAKEN_AT,
    _text("method", "Method", "How the plants were counted.", required=True,
          default="row_length", values=("row_length", "wheel", "hoop")),
    _whole("plants", "Plants", "Plants counted in all rows or hoops of the stop together."),
    _number("length", "length", "Length",
            "Length of row counted, or distance rolled by the wheel."),
    _whole("rows", "Rows", "Rows counted side by side over that length.", default=1, low=1,
           high=200),
    _number("row_width", "depth", "Row width",
            "From one row to the next at this stop; where empty, the field's."),
    _number("hoop_diameter", "depth", "Hoop diameter", "Inside diameter of the hoop."),
    _whole("hoops", "Hoops", "Hoops thrown and counted at the stop.", default=1, low=1,
           high=1000),
    *GROWTH_STAGE,
    _text("evenness", "Evenness", "How evenly the plants stand and have come up.",
          values=("even", "uneven", "very_uneven")),
    NOTE, PHOTO,
))

_ROW_COUNTS = LayerSpec("row_counts", "none", "Counts of single rows", (
    READING_ID,
    _child_of("of_stop", "Of stop", "The stand count this row belongs to."),
    ROW_UNIT,
    _whole("plants", "Plants", "Plants counted in this row."),
    _number("length", "length", "Length", "Length counted in this row."),
), parent=("stand_counts", "of_stop"))

_PLANT_POSITIONS = LayerSpec("plant_positions", "none", "Plants along the tape", (
    READING_ID,
    _child_of("of_stop", "Of stop", "The stand count at which the tape lay."),
    ROW_UNIT,
    _number("position", "depth", "Position", "Mark of the tape at the plant."),
), parent=("stand_counts", "of_stop"))

_SEED_DEPTHS = LayerSpec("seed_depths", "point", "Seed depths", (
    READING_ID, STOP, TAKEN_AT, ROW_UNIT,
    _number("depth", "depth", "Seed depth", "From the soil's surface to the seed."),
    ColumnSpec("emerged", "bool", "Emerged", "Whether the seed had come up."),
    NOTE,
))

_COMPACTION_READINGS = LayerSpec("compaction_readings", "point", "Compaction readings", (
    READING_ID, STOP, TAKEN_AT,
    _text("means", "By", "Whether resistance was read on a gauge or a layer felt.",
          required=True, default="gauge", values=("gauge", "felt")),
    _text("cone", "Cone", "Cone of the gauge.", values=("small", "large", "none")),
    _text("moisture", "Soil moisture", "State of the soil when it was probed.",
          values=("dry", "moist", "at_capacity", "wet")),
    _text("place", "Place", "Where the rod went in.",
          values=("row", "between_rows", "wheel_track", "headland", "other")),
    _text("refusal", "Refusal", "Whether the rod was stopped, and by what.", default="no",
          values=("no", "stone", "layer")),
    _number("felt_top", "depth", "Felt top", "Depth at which a hard layer was felt to begin."),
    _number("felt_bottom", "depth", "Felt bottom", "Depth at which it was felt to end."),
    _number("deepest", "depth", "Deepest", "Depth the rod reached."),
    NOTE, PHOTO,
))

_COMPACTION_PROFILE = LayerSpec("compaction_profile", "none", "Resistance by depth", (
    READING_ID,
    _child_of("of_insertion", "Of insertion", "The compaction reading this belongs to."),
    _number("depth", "depth", "Depth", "Depth of the tip of the cone."),
    _number("resistance", "pressure", "Resistance", "Resistance read at that depth."),
), parent=("compaction_readings", "of_insertion"))

_PROBE_POINTS = LayerSpec("probe_points", "point", "Soil probes", (
    READING_ID, STOP, TAKEN_AT,
    _text("core_type", "Core", "What the cores were taken for.",
          values=("short", "nitrate", "other")),
    _number("top_depth", "depth", "Top", "Depth at which the sample begins."),
    _number("bottom_depth", "depth", "Bottom", "Depth at which the sample ends."),
    _whole("cores", "Cores", "Cores put together in the sample.", low=1),
    _text("sample_number", "Sample number", "Number on the bag and on the laboratory's sheet."),
    _number("ph", None, "pH", "Soil pH in water, of the whole sample.", high=14),
    _text("ph_method", "pH by", "How the pH was found.", values=("meter", "laboratory", "strip")),
    _number("surface_ph", None, "Surface pH",
            "Soil pH in water of the surface, read in the field beside the sample's own.",
            high=14),
    _text("surface_ph_method", "Surface pH by", "How the surface pH was found.",
          values=("slurry", "insertion", "strip")),
    _number("surface_ph_depth", "depth", "Surface depth",
            "Down to which depth the soil for the surface pH was taken."),
    _number("buffer_ph", None, "Buffer pH", "Buffer pH from the laboratory.", high=14),
    _percent("organic_matter", "Organic matter", "Organic matter of the soil, by weight."),
    _number("phosphorus_ppm", "ppm", "Phosphorus", "Extractable phosphorus."),
    _number("potassium_ppm", "ppm", "Potassium", "Extractable potassium."),
    _number("nitrate_n_ppm", "ppm", "Nitrate nitrogen", "Nitrogen in nitrate."),
    _percent("soil_moisture", "Soil moisture", "Water in the soil, by volume."),
    NOTE, PHOTO,
))

_SCOUT_NOTES = LayerSpec("scout_notes", "point", "Scouting notes", (
    READING_ID, STOP, TAKEN_AT,
    _text("subject", "Subject", "What the note is about.",
          values=("leaf", "stem", "root", "seed", "insect", "disease", "weed", "water", "other")),
    _text("seen", "Seen", "What was seen, in words."),
    _text("organism", "Insect, disease or weed", "Its name, as far as it is known."),
    _whole("plants_checked", "Plants checked", "Plants looked at, affected or not.", low=1),
    _whole("plants_affected", "Plants affected", "How many of them were affected."),
    _percent("incidence", "Incidence", "Share of the plants affected."),
    _percent("severity", "Severity", "Share of the plant or the ground affected."),
    _whole("root_rating", "Root rating, 0 to 3",
           "Of dug and washed roots: 0 sound; 1 slightly, 2 clearly, 3 severely bent, clubbed, "
           "pruned or rotted. This program's own scale.", high=3),
    _number("roots_turn_at", "depth", "Roots turn at", "Depth at which roots bend or stop."),
    *GROWTH_STAGE,
    NOTE, PHOTO,
))

# Harvest records are kept as the machine wrote them: no limits, the cleaning judges them.
_YIELD_POINTS = LayerSpec("yield_points", "point", "Yield points", (
    READING_ID, TAKEN_AT,
    _whole("season", "Season", "Year of the harvest.", low=None),
    _text("crop", "Crop", "The crop harvested."),
    _number("flow", "flow", "Flow", "Mass of wet grain per time.", low=None),
    _number("moisture", "percent", "Moisture", "Moisture of the grain, wet basis.", low=None),
    _number("interval_s", "seconds", "Interval", "Time this record stands for.", low=None),
    _number("distance", "length", "Distance", "Way driven in that time.", low=None),
    _number("swath", "length", "Swath", "Width harvested.", low=None),
    _whole("pass_number", "Pass", "Number of the machine's pass.", low=None),
    _number("dry_yield", "grain_yield", "Dry yield",
            "Yield at market moisture, as the machine reported it.", low=None),
))

LAYERS = (_FIELD, _STAND_COUNTS, _ROW_COUNTS, _PLANT_POSITIONS, _SEED_DEPTHS,
          _COMPACTION_READINGS, _COMPACTION_PROFILE, _PROBE_POINTS, _SCOUT_NOTES, _YIELD_POINTS)
