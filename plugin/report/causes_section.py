"""The section on possible causes: what the readings speak for and against, and what is unseen."""
from collections import defaultdict

from . import look
from .phrases import draw_listed
from .tables import draw_table
from .words import NOTHING, sentence, text_of, tr

_SECTION_START = 80.0  # mm left on a page that are worth starting the section on
_IN_FULL = ("consistent", "hint")  # verdicts whose whole evidence is printed


def draw_causes(sheet, findings):
    """Print the possible causes as a table, the evidence on those pointed to, and the rest."""
    causes = findings.get("causes") or []
    sheet.share(_SECTION_START)
    sheet.heading(findings.get("title") or tr("What the readings point to"))
    sheet.paragraph(sentence(findings.get("headline", "")))
    draw_table(sheet, [tr("Possible cause"), tr("Strength"), tr("Evidence")],
               [[text_of(one.get("title")), text_of(one.get("strength")), _first(one)]
                for one in causes])
    for one in causes:
        if one.get("verdict") in _IN_FULL:
            _in_full(sheet, one)
    draw_listed(sheet, tr("Not looked at, and should be"), _unseen(causes))
    draw_listed(sheet, tr("How to read this"), findings.get("said", []), look.NOTE)


def _first(cause):
    """The first sentence for a cause, or else against it."""
    for key in ("for", "against"):
        if cause.get(key):
            return cause[key][0]
    return NOTHING


def _unseen(causes):
    """What was not looked at, each sentence once, after the causes that it is said of."""
    titles = defaultdict(list)
    for one in causes:
        for said in one.get("not_looked_at") or []:
            titles[said].append(text_of(one.get("title")))
    return [f"{', '.join(names)}: {said}" for said, names in titles.items()]


def _in_full(sheet, cause):
    sheet.subheading(text_of(cause.get("title")))
    sheet.bullets([
        *(tr("For: {words}").format(words=words) for words in cause.get("for") or []),
        *(tr("Against: {words}").format(words=words) for words in cause.get("against") or []),
        *(tr("Test: {words}").format(words=sentence(words)) for words in cause.get("tests") or []),
        *([tr("Next: {words}").format(words=cause["next_step"])]
          if cause.get("next_step") else [])])
