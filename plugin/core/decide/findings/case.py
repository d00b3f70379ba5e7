"""What speaks for and against one possible cause, before all causes are weighed together."""
from dataclasses import dataclass

LEVEL = 0.05  # of a test


@dataclass(frozen=True)
class Trial:
    """One test.

    test    which one, with its source
    p       chance of as large an effect either way, were there none
    toward  whether the effect goes the way the cause would push it
    effect  what was found, a sentence with its figures
    unsure  what the test leaves open, a sentence; "" where nothing is to be added
    """
    test: str
    p: float
    toward: bool
    effect: str
    unsure: str = ""


@dataclass(frozen=True)
class Case:
    """The evidence on one cause.

    cause         its key, fixed for good
    title         what people call it
    trials        Trials
    seen_for, seen_against   sentences on what was seen and not tested
    not_looked_at   sentences
    next_step     what to do to make sure
    """
    cause: str
    title: str
    trials: tuple = ()
    seen_for: tuple = ()
    seen_against: tuple = ()
    not_looked_at: tuple = ()
    next_step: str = ""
