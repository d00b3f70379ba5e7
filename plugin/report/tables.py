"""Tables that wrap their cells and go on over as many pages as they need."""
from . import look
from .type_setting import longest_word_mm, width_mm, wrapped

_PAD = 1.4  # mm beside a cell's text
_ROW_PAD = 0.9  # mm above and below a row's text
_BETWEEN = 14.0  # mm between two pairs and around their texts
_SMALLEST = 6.0  # points
_AFTER = 1.5  # mm below a table


def draw_table(sheet, titles, rows, *, right=(), styles=None, width=None, heading=""):
    """Draw a table at the sheet's cursor.

    A column gets the width its texts take; where the page is too narrow the widest columns wrap,
    then the type gets smaller, then words break. A row that does not fit goes to the next page,
    under the titles again, and never by itself; one taller than a page is carried on.

    Parameters
        titles   (k,) column titles; all empty: no head
        rows     rows of k texts
        right    numbers of the columns set flush right
        styles   function row number -> Type, or None
        width    mm; the sheet's width when None
        heading  printed above, on the same page as the first rows
    """
    if not rows:
        return
    width = width or sheet.width
    size = look.CELL.size
    while size > _SMALLEST and sum(_least(titles, rows, size)) > width:
        size -= 0.5
    widths = _widths(titles, rows, size, width)
    head = look.CELL_HEAD.smaller(size - 0.5)
    cell = look.CELL.smaller(size)
    heads = [wrapped(title, head, wide - 2 * _PAD)
             for title, wide in zip(titles, widths)] if any(titles) else []
    kinds = [styles(number).smaller(size) if styles else cell for number in range(len(rows))]
    texts = [[wrapped(text, style, wide - 2 * _PAD) for text, wide in zip(row, widths)]
             for row, style in zip(rows, kinds)]
    heights = [_row_height(row, style) for row, style in zip(texts, kinds)]
    kept = 3 if len(rows) == 3 else 2  # parted, three rows would leave one by itself
    least = _head_height(heads, head) + sum(heights[:kept])
    if heading:
        sheet.subheading(heading, keep=min(least, (sheet.bottom - sheet.top) / 2))
    else:
        sheet.need(min(least, (sheet.bottom - sheet.top) / 2))
    first = True
    for number, (left, style) in enumerate(zip(texts, kinds)):
        if not first and number == len(rows) - 2 > 0 and sum(heights[-2:]) > sheet.room:
            sheet.new_page()  # so that the last row has company
            first = True
        while any(left):
            tall = max(map(len, left))
            fits = int((sheet.room - 2 * _ROW_PAD - (_head_height(heads, head) if first else 0.0))
                       / style.line_mm + 1e-6)
            if fits < min(tall, 3) and not sheet.fresh:
                sheet.new_page()
                first = True
                continue
            if first:
                _draw_head(sheet, heads, head, widths, right)
                first = False
            now = [lines[:max(fits, 1)] for lines in left]
            left = [lines[max(fits, 1):] for lines in left]
            _draw_row(sheet, now, style, widths, right, shaded=number % 2 == 1)
    sheet.y += _AFTER


def draw_pairs(sheet, pairs, *, heading=""):
    """Draw (name, text) pairs: short ones two beside each other, then each long one in a row."""
    short, long = [], []
    for pair in pairs:
        fits = sum(width_mm(text, look.CELL) for text in pair) < sheet.width / 2 - _BETWEEN
        (short if fits else long).append(list(pair))
    if len(short) < 4:
        draw_table(sheet, ["", ""], short, right=(1,), width=sheet.width * 0.6, heading=heading)
    else:
        half = -(-len(short) // 2)
        short += [["", ""]] * (2 * half - len(short))
        rows = [[*short[number], "", *short[number + half]] for number in range(half)]
        draw_table(sheet, [""] * 5, rows, right=(1, 4), heading=heading)
    draw_table(sheet, ["", ""], long, heading="" if short else heading)


def _least(titles, rows, size):
    style = look.CELL.smaller(size)
    head = look.CELL_HEAD.smaller(size - 0.5)
    return [max(longest_word_mm(title, head),
                max(longest_word_mm(row[column], style) for row in rows)) + 2 * _PAD + 0.2
            for column, title in enumerate(titles)]


def _widths(titles, rows, size, width):
    style = look.CELL.smaller(size)
    head = look.CELL_HEAD.smaller(size - 0.5)
    least = _least(titles, rows, size)
    natural = [max(width_mm(title, head) * 0.75,  # a title may take two lines
                   max(width_mm(row[column], style) for row in rows)) + 2 * _PAD + 0.2
               for column, title in enumerate(titles)]
    natural = [max(pair) for pair in zip(natural, least)]
    if sum(natural) <= width:
        spare = (width - sum(natural)) / len(natural)
        return [wide + spare for wide in natural]
    if sum(least) >= width:
        return [wide * width / sum(least) for wide in least]
    return _capped(least, natural, width)


def _capped(least, natural, width):
    """Return the widths when only columns wider than a common cap give way, down to `least`."""
    def at(cap):
        return [max(low, min(high, cap)) for low, high in zip(least, natural)]

    low, high = 0.0, max(natural)
    for _ in range(40):  # halving: far below a thousandth of a mm
        middle = (low + high) / 2
        low, high = (low, middle) if sum(at(middle)) > width else (middle, high)
    return at(low)


def _row_height(texts, style):
    return max(map(len, texts)) * style.line_mm + 2 * _ROW_PAD


def _head_height(heads, head):
    return _row_height(heads, head) if heads else 0.0


def _draw_head(sheet, heads, head, widths, right):
    if not heads:
        return
    height = _head_height(heads, head)
    tall = max(map(len, heads))
    _draw_cells(sheet, [[""] * (tall - len(lines)) + lines for lines in heads], head, widths,
                right)
    sheet.y += height
    sheet.box(sheet.left, sheet.y - 0.3, sum(widths), 0.3, look.ACCENT)


def _draw_row(sheet, cells, style, widths, right, *, shaded):
    height = _row_height(cells, style)
    if shaded:
        sheet.box(sheet.left, sheet.y, sum(widths), height, look.BAND)
    _draw_cells(sheet, cells, style, widths, right)
    sheet.y += height
    sheet.box(sheet.left, sheet.y, sum(widths), 0.15, look.RULE)


def _draw_cells(sheet, cells, style, widths, right):
    x = sheet.left
    for column, (lines, wide) in enumerate(zip(cells, widths)):
        y = sheet.y + _ROW_PAD
        for text in lines:
            sheet.line(text, style, x + _PAD, y, wide - 2 * _PAD,
                       "right" if column in right else "left")
            y += style.line_mm
        x += wide
