"""How often findings name a cause, on made-up walks in which one is true, or none.

49 stops, 40 m apart; the stand and all that is read beside it are patchy, each by itself, so that
neighbours are alike (exponential model of a range parameter of 80 m, a nugget of 30 %), but the
stand may be lower where one cause is stronger. The first table: how often any cause is named where
none is true, by these tests and by plain rank correlations that take stops for independent. The
second: how often the true one is named, and any other. `--walks N` draws N walks for each line
(200), `--seed S` others.
"""
import argparse
from dataclasses import replace

import numpy as np
from scipy.spatial.distance import cdist
from scipy.stats import spearmanr

from plugin.core.decide.findings.findings import CONSISTENT, HINT, findings
from plugin.core.decide.findings.walk import Notes, RowCounts, Spots, Walk, WithinStops

SIDE, APART_M = 7, 40.0  # 49 stops on a jittered grid
MEAN, SPREAD = 30.0, 2.0  # thousand plants per acre
UNITS = 8


def places(generator):
    across, along = np.meshgrid(np.arange(SIDE), np.arange(SIDE))
    grid = APART_M * np.column_stack([across.ravel(), along.ravel()])
    return grid + generator.uniform(-10, 10, grid.shape)


def patchy(positions, generator, range_m=80.0, nugget=0.3):
    """Values of mean 0 and variance 1 that are alike nearby (exponential model)."""
    covariance = (1 - nugget) * np.exp(-cdist(positions, positions) / range_m)
    covariance += nugget * np.eye(len(positions))
    return np.linalg.cholesky(covariance) @ generator.standard_normal(len(positions))


def quiet_walk(seed, *, rows=True):
    """A walk that looked at everything; the stand is patchy, nothing drives it."""
    generator = np.random.default_rng(seed)
    where = places(generator)
    count = len(where)

    def spots(mean, spread):
        return Spots(where, mean + spread * patchy(where, generator))
    stand = spots(MEAN, SPREAD)
    subjects, present = [], []
    for subject in ("water", "insect", "disease"):
        subjects += [subject] * count
        present.append(patchy(where, generator) > 0.8)
    seed_stops = np.repeat(np.arange(count), 4)
    depths = 1.75 + 0.4 * generator.standard_normal(4 * count)
    return Walk(
        crop="corn", stand=stand, headland="within 30 m of the row ends",
        at_row_end=(where[:, 1] < 30) | (where[:, 1] > APART_M * (SIDE - 1) - 30),
        unevenness=Spots(where, np.round(np.clip(patchy(where, generator), 0, 2))),
        pan_top=Spots(where, np.where(patchy(where, generator) > 0.5, np.inf,
                                      9 + patchy(where, generator))),
        nitrate=spots(20, 5), ph=spots(6.0, 0.4),
        seed_depths=Spots(np.repeat(where, 4, axis=0), depths),
        seeds=WithinStops(seed_stops, generator.random(4 * count) < 0.2, depths),
        tracks=WithinStops(np.repeat(np.arange(10), 2), np.tile([True, False], 10),
                           200 + 20 * generator.standard_normal(20)),
        rows=row_counts(generator) if rows else None, taped=1,
        notes=Notes(np.tile(where, (3, 1)), tuple(subjects), np.concatenate(present)),
        root_ratings=(0.0,))


def row_counts(generator, faulty=None):
    """All rows of a planter at 20 stops; the faulty one lacks a third."""
    stops, units = np.repeat(np.arange(20), UNITS), np.tile(np.arange(1, UNITS + 1), 20)
    expected = np.where(units == faulty, 20.0, 30.0)
    return RowCounts(stops, units, generator.binomial(34, expected / 34).astype(float),
                     np.full(len(stops), 5.3))


def thinner(walk, strain, by=4.0):
    """The walk, its stand lower by so much for each deviation of a strain given at the stops.

    A strain that is the same everywhere thins nothing.
    """
    if not np.ptp(strain):
        return walk
    strain = (strain - strain.mean()) / strain.std()
    return replace(walk, stand=Spots(walk.stand.positions_m, walk.stand.values - by * strain))


def noted(walk, subject):
    """Whether there is a note of the subject at each stop."""
    return np.array([there for one, there in zip(walk.notes.subjects, walk.notes.present)
                     if one == subject], float)


def _by_strain(strain_of):
    return lambda walk, by: thinner(walk, strain_of(walk), by)


# What is worse where each cause is stronger; the row unit and the seeds are of another kind.
TRUE = {
    "compaction": _by_strain(lambda walk: -np.minimum(walk.pan_top.values, 13.0)),
    "crust_or_wet": _by_strain(lambda walk: walk.unevenness.values),
    "nitrogen": _by_strain(lambda walk: -walk.nitrate.values),
    "ph": _by_strain(lambda walk: np.maximum(6.0 - walk.ph.values, 0.0)),
    "insects": _by_strain(lambda walk: noted(walk, "insect")),
    "disease": _by_strain(lambda walk: noted(walk, "disease")),
    "traffic": _by_strain(lambda walk: walk.at_row_end.astype(float))}


def _plain(walk):
    """How many of the four readings beside the stand a plain rank correlation calls linked."""
    return sum(spearmanr(walk.stand.values, spots.values)[1] <= 0.05
               for spots in (walk.pan_top, walk.nitrate, walk.ph, walk.unevenness)
               if len(np.unique(spots.values)) > 1)


def level(walks, seed):
    """Print how often a cause is named where none is true."""
    named = hinted = plain = 0
    for number in range(walks):
        walk = quiet_walk((seed, number), rows=False)
        found = findings(walk)
        named += bool(found.of(CONSISTENT))
        hinted += len(found.of(HINT, CONSISTENT))
        plain += _plain(walk)
    print("| where no cause is true | share |\n|---|---|")
    print(f"| walks in which any cause is named | {named / walks:.3f} |")
    print(f"| causes hinted at or named, of the 8 tested | {hinted / walks / 8:.3f} |")
    print(f"| plain rank correlations with p at most 0.05 | {plain / walks / 4:.3f} |")


def power(walks, seed):
    """Print how often the true cause, and any other, is named, by how much it thins the stand."""
    print("\n| true cause | explains of the stand's variance | named | hinted at | another named |")
    print("|---|---|---|---|---|")
    for cause, made in TRUE.items():
        for by in (1.0, 2.0):
            named = hinted = others = 0
            for number in range(walks):
                found = findings(made(quiet_walk((seed, number), rows=False), by))
                causes = [one.cause for one in found.of(CONSISTENT)]
                named += cause in causes
                hinted += cause in [one.cause for one in found.of(HINT)]
                others += any(one != cause for one in causes)
            share = by**2 / (by**2 + SPREAD**2)
            name = {"traffic": "headland"}.get(cause, cause.replace("_", " "))
            print(f"| {name} | {100 * share:.0f} % | {named / walks:.2f} | {hinted / walks:.2f} | "
                  f"{others / walks:.2f} |", flush=True)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--walks", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    level(asked.walks, asked.seed)
    power(asked.walks, asked.seed)
