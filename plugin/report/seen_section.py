"""The section of what was seen: stages, seeds, notes, roots and photos."""
from qgis.PyQt.QtCore import QSize, Qt
from qgis.PyQt.QtGui import QImageReader

from ..record.scouting_readings import photo_path
from . import look
from .phrases import draw_listed, seen_said
from .tables import draw_pairs, draw_table
from .type_setting import wrapped
from .words import NOTHING, capital, sentence, text_of, tr

_SECTION_START = 70.0  # mm left on a page that are worth starting the section on
_NOTES_MOST = 60  # notes printed one by one; the record holds them all
_PHOTOS_MOST = 12
_PHOTO_HEIGHT = 62.0  # mm
_BETWEEN = 5.0  # mm between two photos
_PIXELS = 1200  # of a photo's longer side in print: enough for 9 cm at 300 dots to the inch
_FILE_MOST = 50_000_000  # bytes of a photo that is read


def draw_seen(sheet, seen, photos):
    """Print what was seen, with the photos below a folder; None prints no photo.

    A photo that is not there, or is no picture, is named instead.
    """
    sheet.share(_SECTION_START)
    sheet.heading(seen.get("title") or tr("What was seen"))
    sheet.paragraph(seen_said(seen))
    _stages(sheet, seen)
    _seeds(sheet, seen.get("seeds") or {})
    _subjects(sheet, seen.get("subjects") or [])
    _roots(sheet, seen.get("roots") or {})
    _notes(sheet, seen.get("listed") or [])
    _photos(sheet, seen.get("photos") or [], photos)
    draw_listed(sheet, tr("How to read this"),
                [*seen.get("said", []), *seen.get("warnings", [])], look.NOTE)


def _stages(sheet, seen):
    for heading, rows in ((tr("Growth stage, times noted"), seen.get("growth")),
                          (tr("Evenness, stops"), seen.get("evenness"))):
        draw_pairs(sheet, [(capital(text_of(row.get("title"))), text_of(row.get("count")))
                           for row in rows or []], heading=heading)


def _seeds(sheet, seeds):
    names = {"seeds": tr("Seeds dug"), "stops": tr("Stops"), "mean": tr("Seed depth, average"),
             "interval": tr("Seed depth, nine times in ten"),
             "variation": tr("Spread of depths (coefficient of variation)"),
             "emerged": tr("Emerged"), "emerged_interval": tr("Emerged, nine times in ten"),
             "advised": tr("Usually advised")}
    pairs = [(name, text_of(seeds[key])) for key, name in names.items() if seeds.get(key)]
    for key, name in (("too_shallow", tr("Seeds above {limit}")),
                      ("too_deep", tr("Seeds below {limit}"))):
        if seeds.get(key):
            pairs.append((name.format(limit=text_of(seeds[key].get("limit"))),
                          text_of(seeds[key].get("seeds"))))
    draw_pairs(sheet, pairs, heading=tr("Seed depth and emergence"))
    if seeds.get("advice_source"):
        sheet.paragraph(tr("Depths advised: {source}").format(
            source=sentence(seeds["advice_source"])), look.NOTE)


def _subjects(sheet, subjects):
    draw_table(sheet, [tr("Subject"), tr("Notes"), tr("Places"), tr("Plants affected"),
                       tr("From – to"), tr("Severity"), tr("From – to")],
               [[capital(_both(one.get("subject"), one.get("organism"))),
                 text_of(one.get("notes")), text_of(one.get("stops")),
                 *(text_of(one.get(key)) for key in ("incidence", "incidence_range", "severity",
                                                     "severity_range"))] for one in subjects],
               right=(1, 2, 3, 4, 5, 6), heading=tr("Notes by subject, averages over notes"))
    for one in subjects:
        if one.get("plants"):
            sheet.paragraph(tr("{subject}: of {plants} plants counted, {share} affected ({range})."
                               ).format(subject=capital(_both(one.get("subject"),
                                                              one.get("organism"))),
                                        plants=text_of(one["plants"]),
                                        share=text_of(one.get("counted_incidence")),
                                        range=text_of(one.get("counted_interval"))))


def _roots(sheet, roots):
    if not roots:
        return
    pairs = [(tr("Rating {rating}").format(rating=text_of(one.get("title"))),
              text_of(one.get("count"))) for one in roots.get("ratings") or []]
    if roots.get("turn_at"):
        pairs += [(tr("Roots turn at, average"), text_of(roots["turn_at"])),
                  (tr("Roots turn at, from – to"), text_of(roots.get("turn_range")))]
    draw_pairs(sheet, pairs, heading=tr("Dug and washed roots"))
    sheet.paragraph(text_of(roots.get("scale")), look.NOTE)


def _notes(sheet, notes):
    draw_table(sheet, [tr("Where"), tr("Subject"), tr("Seen"), tr("Plants affected"),
                       tr("Severity"), tr("Root rating")],
               [[capital(text_of(one.get("where"))), capital(one.get("subject") or NOTHING),
                 text_of(one.get("words")), *(text_of(one.get(key)) for key in (
                     "incidence", "severity", "root_rating"))] for one in notes[:_NOTES_MOST]],
               right=(3, 4, 5), heading=tr("Notes"))
    if len(notes) > _NOTES_MOST:
        sheet.paragraph(tr("{count} more notes are in the record.").format(
            count=len(notes) - _NOTES_MOST), look.NOTE_ITALIC)


def _photos(sheet, photos, folder):
    shown, named = [], []
    for photo in photos:
        image = None
        if folder is not None and photo.get("found") and len(shown) < _PHOTOS_MOST:
            image = _image(photo_path(folder, str(photo.get("file"))))
        if image is None:
            named.append(photo)
        else:
            shown.append((photo, image))
    if shown:
        _draw_pictures(sheet, shown)
    if named:
        draw_listed(sheet, tr("Photos not shown here"), [
            f"{capital(text_of(one.get('caption')))}: {one.get('file')}"
            + ("" if one.get("found") else tr(" (not found beside the record)"))
            for one in named], look.NOTE)


def _draw_pictures(sheet, shown):
    wide = (sheet.width - _BETWEEN) / 2
    height = _PHOTO_HEIGHT + look.NOTE.line_mm + 2.0
    sheet.subheading(tr("Photos"), keep=height)
    for number, (photo, image) in enumerate(shown):
        column = number % 2
        if column == 0:
            sheet.need(height)
        scale = min(wide / image.width(), _PHOTO_HEIGHT / image.height())
        x = sheet.left + column * (wide + _BETWEEN)
        sheet.picture(x, sheet.y, image.width() * scale, image.height() * scale, image)
        caption = wrapped(capital(text_of(photo.get("caption"))), look.NOTE, wide)[0]
        sheet.line(caption, look.NOTE, x, sheet.y + _PHOTO_HEIGHT + 0.5, wide)
        if column == 1 or number == len(shown) - 1:
            sheet.y += height


def _image(path):
    """The picture in a file, small enough for print and the right way up; None if it is none."""
    if path is None or path.stat().st_size > _FILE_MOST:
        return None
    reader = QImageReader(str(path))
    reader.setAutoTransform(True)
    size = reader.size()
    if not size.isValid():
        return None
    if max(size.width(), size.height()) > _PIXELS:
        reader.setScaledSize(size.scaled(QSize(_PIXELS, _PIXELS),
                                         Qt.AspectRatioMode.KeepAspectRatio))
    image = reader.read()
    return None if image.isNull() else image


def _both(subject, organism):
    return " – ".join(part for part in (subject, organism) if part) or NOTHING
