"""The kinds of readings that can be imported, and what the columns of a source can go to."""
from dataclasses import dataclass, replace

from ...core.intake.mapping import Mapping, Target
from ...core.intake.proposal import propose_mapping, words_for
from ...core.problems import InputProblem
from ..schema import layer_spec, unit_of

LABORATORY = ("ph", "ph_method", "buffer_ph", "organic_matter", "phosphorus_ppm",
              "potassium_ppm", "nitrate_n_ppm", "soil_moisture")


@dataclass(frozen=True)
class Kind:
    """One kind of readings.

    layer  of the record that they go to
    child  its table of parts, "" for none; `value` and `at` are the columns of a part that may
           stand in several columns of a source, one for each `at`; "" where these are but counted
    only   the columns of the layer that can be filled; None for all
    """
    name: str
    title: str
    layer: str
    child: str = ""
    value: str = ""
    at: str = ""
    only: tuple = None

    @property
    def part(self):
        """The target of a part's value, "" where there are no parts."""
        return f"{self.child}.{self.value}" if self.child else ""

    @property
    def part_at(self):
        """The target of a part's `at`, "" where there are no parts."""
        return f"{self.child}.{self.at}" if self.at else ""


KINDS = (
    Kind("stand_counts", "Stand counts", "stand_counts", "row_counts", "plants", "row_unit"),
    Kind("plant_positions", "Plants along the tape", "stand_counts", "plant_positions",
         "position", only=("stop", "taken_at")),
    Kind("compaction_readings", "Compaction readings", "compaction_readings",
         "compaction_profile", "resistance", "depth"),
    Kind("seed_depths", "Seed depths", "seed_depths"),
    Kind("probe_points", "Soil probes", "probe_points"),
    Kind("laboratory", "Laboratory results, by sample number", "probe_points",
         only=("sample_number", *LABORATORY)),
    Kind("scout_notes", "Scouting notes", "scout_notes"),
    Kind("yield_points", "Yield points", "yield_points"),
)


def kind_named(name):
    """Return the Kind of that name.

    Raises   InputProblem: there is none
    """
    for kind in KINDS:
        if kind.name == name:
            return kind
    raise InputProblem(f"There is no kind of readings {name!r}; there are "
                       f"{', '.join(kind.name for kind in KINDS)}.")


def targets_of(kind, record, *, placed=False):
    """Return the Targets of a kind as a dict by name, in the order in which headers are matched.

    Parameters
        kind    Kind
        record  Record, for its units
        placed  whether the source brings positions of its own, so that no column is one
    """
    found = []
    if kind.name != "laboratory" and not placed:
        found += [_virtual("x", "x", "Longitude or easting", kind),
                  _virtual("y", "y", "Latitude or northing", kind)]
    if found and kind.name != "plant_positions":  # whose positions are marks of a tape
        found.append(_virtual("position_text", "xy", "Latitude and longitude", kind))
    if kind.child:
        spec = layer_spec(kind.child)
        # `at` before the value: a column "Row" alone holds the row's number, "Row 1" its plants
        columns = sorted((column for column in spec.columns
                          if column.name not in ("reading_id", spec.parent[1])),
                         key=lambda column: column.name != kind.at)
        found += [replace(_target(column, kind.child, record, prefix=f"{kind.child}."),
                          series=column.name == kind.value) for column in columns]
    if kind.name == "stand_counts":
        found.append(replace(_virtual("population", "real", "Plants per area", kind),
                             unit=record.units.population))
    if kind.name == "compaction_readings":
        found.append(_virtual("insertion", "text", "Insertion", kind))
    if kind.name == "probe_points":
        depth = layer_spec("probe_points").column("bottom_depth")
        found.append(replace(_virtual("depth_range", "range", "Depth, or from-to", kind),
                             unit=unit_of(depth, record.units, record.currency)))
    found += [_target(column, kind.layer, record) for column in layer_spec(kind.layer).columns
              if column.name != "reading_id" and (kind.only is None or column.name in kind.only)]
    if any(target.name == "taken_at" for target in found):
        found.append(_virtual("time_of_day", "time", "Time of day", kind))
    return {target.name: target for target in found}


def proposed_mapping(kind, names, targets):
    """Return the Mapping that the names of a source's columns suggest for a kind.

    Where stops are counted a row a line, the plants and lengths are those of the single rows. A
    time without a date is left out; in map files, such as GPX, it holds the date too.
    """
    mapping = propose_mapping(names, list(targets.values()))
    if mapping.uses("time_of_day") and not mapping.uses("taken_at"):
        whole = "x" not in targets
        mapping = Mapping(tuple(
            replace(use, target="taken_at") if use.target == "time_of_day" else use
            for use in mapping.columns if whole or use.target != "time_of_day"))
    if kind.name == "stand_counts" and mapping.uses(kind.part_at) \
            and not mapping.uses(kind.part):
        single = {"plants": kind.part, "length": f"{kind.child}.length"}
        return Mapping(tuple(replace(use, target=single.get(use.target, use.target))
                             for use in mapping.columns))
    return mapping


def _target(column, layer, record, prefix=""):
    kind = "photo" if column.name == "photo" else column.kind
    return Target(prefix + column.name, kind, column.title,
                  unit_of(column, record.units, record.currency), column.values,
                  words=words_for(layer, prefix + column.name if prefix else column.name))


def _virtual(name, kind, title, of):
    return Target(name, kind, title, words=words_for(of.layer, name))
