"""All possible causes weighed together: what the readings are consistent with, and what not."""
from dataclasses import dataclass

import numpy as np

from .case import LEVEL
from .compaction import compaction
from .noted_causes import crust_or_wet, disease, insects
from .planter_rows import planter_rows
from .seed_depth import seed_depth
from .soil_tests import nitrogen, soil_ph
from .traffic import traffic

STRONG = 0.01
CONSISTENT, HINT, SEEN, NOT_SHOWN, NOT_LOOKED_AT = (
    "consistent", "hint", "seen", "not shown", "not looked at")


@dataclass(frozen=True)
class Finding:
    """One possible cause, judged.

    verdict   CONSISTENT: a test shows it, all tests allowed for; HINT: by itself alone a test
              would; SEEN: noted, not shown by a test; NOT_SHOWN: tested or looked at, not found;
              NOT_LOOKED_AT
    strength  the same in words, with the p behind it
    favour, against, tests, not_looked_at   sentences
    p, adjusted_p   of the test behind the verdict; None where nothing was tested
    """
    cause: str
    title: str
    verdict: str
    strength: str
    favour: tuple
    against: tuple
    tests: tuple
    p: float
    adjusted_p: float
    not_looked_at: tuple
    next_step: str


@dataclass(frozen=True)
class Findings:
    """The Finding of every cause, in a fixed order, and how many tests were made in all."""
    causes: tuple
    tests: int

    def of(self, *verdicts):
        """Return the causes with one of these verdicts."""
        return tuple(one for one in self.causes if one.verdict in verdicts)


def findings(walk, *, tick=None):
    """Return what the readings of a walk say for and against each possible cause.

    Each test is two-sided. With several tests one shows something by chance ever more often: the
    p values are adjusted for all tests made, and a cause counts as consistent with the readings
    where the adjusted p of an effect in its direction is at most LEVEL. So a record of a field in
    which nothing is the matter names any cause at all in at most one of twenty. A part that was
    not taken, or holds too little to compare, is told as not looked at; nothing is refused.

    Parameters
        walk  Walk
        tick  called with the fraction done; may raise Stopped
    Returns  Findings
    Source   Holm (1979), Scandinavian Journal of Statistics 6, 65-70
    """
    tick = tick or _no_tick
    cases = (planter_rows(walk, tick=lambda done: tick(0.5 * done)),
             seed_depth(walk, tick=lambda done: tick(0.5 + 0.2 * done)),
             compaction(walk), crust_or_wet(walk), nitrogen(walk), soil_ph(walk), insects(walk),
             disease(walk), traffic(walk, tick=lambda done: tick(0.7 + 0.2 * done)))
    adjusted = iter(holm([trial.p for case in cases for trial in case.trials]))
    judged = [(case, [next(adjusted) for _ in case.trials]) for case in cases]
    count = sum(len(case.trials) for case in cases)
    tick(1.0)
    return Findings(tuple(_judge(case, ps, count) for case, ps in judged), count)


def holm(p_values):
    """Return (n,) p values adjusted for all being tested, so that any is wrong no oftener than p.

    Source   Holm (1979), Scandinavian Journal of Statistics 6, 65-70
    """
    p = np.asarray(p_values, float)
    order = np.argsort(p)
    raised = np.maximum.accumulate(p[order] * np.arange(len(p), 0, -1)) if len(p) else p
    adjusted = np.empty(len(p))
    adjusted[order] = np.minimum(raised, 1.0)
    return adjusted


def _judge(case, adjusted, count):
    pairs = list(zip(case.trials, adjusted))
    shown = [(trial, p) for trial, p in pairs if trial.toward and trial.p <= LEVEL]
    behind = min(shown or pairs, key=lambda pair: pair[0].p, default=None)
    verdict = _verdict(case, shown)
    return Finding(
        cause=case.cause, title=case.title, verdict=verdict,
        strength=_strength(verdict, behind, count),
        favour=tuple(_sentence(trial) for trial, _ in shown) + case.seen_for,
        against=tuple(_sentence(trial) for trial, p in pairs if (trial, p) not in shown)
        + case.seen_against,
        tests=tuple(dict.fromkeys(trial.test for trial in case.trials)),
        p=None if behind is None else behind[0].p,
        adjusted_p=None if behind is None else float(behind[1]),
        not_looked_at=case.not_looked_at, next_step=case.next_step)


def _verdict(case, shown):
    if any(p <= LEVEL for _, p in shown):
        return CONSISTENT
    if shown:
        return HINT
    if case.seen_for:
        return SEEN
    return NOT_SHOWN if case.trials or case.seen_against else NOT_LOOKED_AT


def _strength(verdict, behind, count):
    if behind is None:
        return {SEEN: "Seen, not tested.", NOT_SHOWN: "Looked at, not tested.",
                NOT_LOOKED_AT: "Not looked at."}[verdict]
    trial, adjusted = behind
    told = f"{_p(trial.p)}, {_p(adjusted)} allowing for {count} test{'s' * (count > 1)}"
    if verdict == CONSISTENT:
        word = "Strong" if adjusted <= STRONG else "Clear"
        return f"{word}: the readings are consistent with it ({told})."
    if trial.p <= LEVEL and not trial.toward:
        told = f"the clearest effect goes the other way, {told}"
    return {HINT: f"A hint only: of {count} tests one may look so by chance ({told}).",
            SEEN: f"Seen, but no test shows it ({told}).",
            NOT_SHOWN: f"Not shown ({told})."}[verdict]


def _p(p):
    return "p under 0.001" if p < 0.001 else f"p {p:.3f}" if p < 0.1 else f"p {p:.2f}"


def _sentence(trial):
    """The effect with its p, and what the test leaves open; an effect the other way says so."""
    told = f"{trial.effect.rstrip('.')}; {_p(trial.p)}."
    if trial.p <= LEVEL and not trial.toward:
        told = f"The other way round: {told[0].lower()}{told[1:]}"
    return " ".join(part for part in (told, trial.unsure) if part)


def _no_tick(_fraction):
    return None
