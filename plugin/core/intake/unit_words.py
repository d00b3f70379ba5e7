"""Units as people write them in headers and cells."""
import csv
from functools import cache, lru_cache
from pathlib import Path

_TABLE = Path(__file__).with_name("unit_words.csv")
_SQUARES = str.maketrans({"²": "2", "^": None, "µ": "u"})


@cache
def _units():
    with open(_TABLE, encoding="utf-8", newline="") as file:
        return {word.translate(_SQUARES): row["unit"] for row in csv.DictReader(file)
                for word in row["words"].split("|")}


@lru_cache(maxsize=4096)
def unit_named(words):
    """Return the unit that words such as "Inches" or "N/cm²" mean; "" where they name none."""
    plain = " ".join(words.strip().lower().translate(_SQUARES).split()).rstrip(".")
    return _units().get(plain) or _units().get(plain.replace(" ", ""), "")


def known_units():
    """Return every unit that has words here, in the order of the table."""
    return tuple(dict.fromkeys(_units().values()))
