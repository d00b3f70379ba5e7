from plugin.core.part_of_tick import part_of_tick


def test_a_part_is_told_as_its_share_of_the_whole():
    told = []
    tick = part_of_tick(told.append, 0.5, 0.25)
    for part in (0.0, 0.5, 1.0):
        tick(part)
    assert told == [0.5, 0.625, 0.75]


def test_without_a_tick_there_is_none():
    assert part_of_tick(None, 0.5, 0.25) is None
