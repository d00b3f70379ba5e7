"""Findings as figures and words: what the table, the summary and the report show of them."""
from ..decide.findings.findings import CONSISTENT, HINT
from ..decide.findings.noted import THIN

TITLE = "What the readings point to"
NO_PROOF = ("Readings can be consistent with a cause; they never prove one. Dig, look and send "
            "samples before acting on any of this.")
ADJUSTED = ("Several causes are tested, so each p is also given allowing for all tests made (Holm "
            "1979). A cause counts as consistent with the readings where that p is at most 0.05 "
            "and the effect goes the way the cause would push it.")
SPATIAL = ("Stops near each other repeat each other; tests across the field count them for fewer "
           "independent ones. Readings are set against the nearest stop, no further off than stops "
           "usually lie apart. Rank correlations are counted positive where the stand is lower on "
           f"the worse ground; thin stops lie {100 * (1 - THIN):.0f} % or more under the middle "
           "one.")
TOGETHER = ("Where several causes lie on the same ground, the readings do not tell them apart.")


def findings_account(findings, warnings=()):
    """Return Findings as plain data: headline, causes, and how to read them."""
    claimed = len(findings.of(CONSISTENT, HINT))
    return {
        "title": TITLE, "headline": findings_headline(findings), "tests": findings.tests,
        "causes": [{
            "cause": one.cause, "title": one.title, "verdict": one.verdict,
            "strength": one.strength, "for": list(one.favour), "against": list(one.against),
            "tests": list(one.tests), "p": one.p, "adjusted_p": one.adjusted_p,
            "not_looked_at": list(one.not_looked_at), "next_step": one.next_step}
            for one in findings.causes],
        "said": [NO_PROOF, *((ADJUSTED, SPATIAL) if findings.tests else ()),
                 *((TOGETHER,) if claimed > 1 else ())],
        "warnings": list(dict.fromkeys(warnings))}


def findings_headline(findings):
    """Return in a sentence or two what the readings point to."""
    if not findings.tests:
        return "Nothing could be tested: too little was looked at."
    parts = [f"{words}: {', '.join(_small(one.title) for one in found)}."
             for words, found in (("The readings are consistent with", findings.of(CONSISTENT)),
                                  ("A hint of", findings.of(HINT))) if found]
    return " ".join(parts) or "No test points to any cause."


def _small(title):
    return title[0].lower() + title[1:]
