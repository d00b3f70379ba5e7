"""Tables that wrap their cells and go on over as many pages as they need."""
from . import look
from .type_setting import longest_word_mm, width_mm, wrapped

_PAD = 1.4  # mm beside a cell's text
_ROW_PAD = 0.9  # mm above and below a row's text
_BETWEEN = 14.0  # mm between two pairs and around their texts
_SMALLEST = 6.0  # points


def draw_table(sheet, titles, rows, *, right=(), styles=None, width=None):
    """Draw a table at the sheet's cursor.

    A column gets the width its texts take; where the page is too narrow the widest columns wrap,
    then the type gets smaller, then words break. A row that does not fit goes to the next page,
    under the titles again; one taller than a page is carried on.

    Parameters
        titles  (k,) column titles; all empty: no head
        rows    rows of k texts
        right   numbers of the columns set flush right
        styles  function row number -> Type, or None
        width   mm; the sheet's width when None
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
    first = True
    for number, row in enumerate(rows):
        style = styles(number).smaller(size) if styles else cell
        left = [wrapped(text, style, wide - 2 * _PAD) for text, wide in zip(row, widths)]
        while any(left):
            tall = max(map(len, left))
            fits = int((sheet.room - 2 * _ROW_PAD - (_head_height(heads, head) if first else 0.0))
                       / style.line_mm)
            if fits < min(tall, 3) and sheet.y > sheet.top + 0.1:
                sheet.new_page()
                first = True
                continue
            if first:
                _draw_head(sheet, heads, head, widths, right)
                first = False
            now = [lines[:max(fits, 1)] for lines in left]
            left = [lines[max(fits, 1):] for lines in left]
            _draw_row(sheet, now, style, widths, right, shaded=number % 2 == 1)
    sheet.y += 1.5


def draw_pairs(sheet, pairs):
    """Draw (name, text) pairs: short ones two beside each other, then each long one in a row."""
    short, long = [], []
    for pair in pairs:
        fits = sum(width_mm(text, look.CELL) for text in pair) < sheet.width / 2 - _BETWEEN
        (short if fits else long).append(list(pair))
    if len(short) < 4:
        draw_table(sheet, ["", ""], short, right=(1,), width=sheet.width * 0.6)
    else:
        half = -(-len(short) // 2)
        short += [["", ""]] * (2 * half - len(short))
        rows = [[*short[number], "", *short[number + half]] for number in range(half)]
        draw_table(sheet, [""] * 5, rows, right=(1, 4))
    draw_table(sheet, ["", ""], long)


def pairs_height(pairs, width):
    """Return about how high draw_pairs gets with its heading, mm, on a sheet of a width."""
    taken = [sum(width_mm(text, look.CELL) for text in pair) for pair in pairs]
    short = sum(wide < width / 2 - _BETWEEN for wide in taken)
    lines = sum(int(wide / (width - 2 * _BETWEEN)) + 1 for wide in taken
                if wide >= width / 2 - _BETWEEN)
    rows = short / 2 + len(pairs) - short + 1
    return 16.0 + rows * 2 * _ROW_PAD + (short / 2 + lines + 1) * look.CELL.line_mm


def table_height(rows):
    """Return about how high a table of one-line rows gets with its heading, mm."""
    return 16.0 + (look.CELL.line_mm + 2 * _ROW_PAD) * len(rows) if rows else 0.0


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
    share = (width - sum(least)) / (sum(natural) - sum(least))
    return [low + share * (high - low) for low, high in zip(least, natural)]


def _head_height(heads, head):
    return max(map(len, heads)) * head.line_mm + 2 * _ROW_PAD if heads else 0.0


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
    height = max(map(len, cells)) * style.line_mm + 2 * _ROW_PAD
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
