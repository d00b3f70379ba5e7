"""How much of a section shares the page of its map, and how high the map then gets."""

_WELL_FILLED = 0.35  # share of a page below which what is left over gets company
_TABLE_START = 45.0  # mm left under a map for a long table that goes on over pages


def pieces_beside_map(heights, room, least, page):
    """Return how many of a section's pieces, the first ones, share the page with its map.

    As many as leave the map its least height; fewer where a next page would hold next to
    nothing. None where already the first is too high.

    Parameters
        heights  (n,) mm of each piece, in order
        room     mm left for map and pieces
        least    mm the map needs
        page     mm a whole page holds
    """
    shared = 0
    while shared < len(heights) and sum(heights[:shared + 1]) + least <= room:
        shared += 1
    if shared == len(heights):
        return shared
    while shared > 1 and sum(heights[shared:]) < _WELL_FILLED * page:
        shared -= 1
    return shared


def draw_map_and_pieces(sheet, block, pieces):
    """Draw a map as high as its page allows, then the pieces; what does not fit flows on.

    Parameters
        block   MapBlock
        pieces  functions that draw on the sheet they are given, in order
    """
    heights = [sheet.height_of(piece) for piece in pieces]
    least = block.least(sheet)
    sheet.need(least)
    shared = pieces_beside_map(heights, sheet.room, least, sheet.bottom - sheet.top)
    if shared or not pieces:
        most = sheet.room - sum(heights[:shared])
    else:
        most = max(sheet.room - _TABLE_START, least)
    block.draw(sheet, most=most)
    if 0 < shared < len(pieces):
        for piece in pieces[:shared]:
            piece(sheet)
        sheet.new_page()
        pieces = pieces[shared:]
    for piece in pieces:
        piece(sheet)
