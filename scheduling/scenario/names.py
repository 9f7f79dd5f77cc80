"""Names that nobody has: syllables of our own put together, no two alike in a building."""

from collections.abc import Iterator
from random import Random

GIVEN_STARTS = (
    *("Alv", "Brem", "Cald", "Dorv", "Elm", "Fenn", "Gisk", "Hald", "Iv", "Jorv", "Kest", "Lom", "Merv", "Nulv", "Olv"),
    *("Pell", "Quil", "Rosk", "Sunn", "Torv", "Ulm", "Vesk", "Wimm", "Yrs", "Zelv", "Åsk", "Ørv"),
)
GIVEN_ENDS = ("a", "ine", "ora", "wyn", "is", "etta", "o", "ard", "imo", "ë", "usk", "olf")
FAMILY_STARTS = (
    *("Arrow", "Bracken", "Clover", "Dapple", "Ember", "Fallow", "Gorse", "Hollin", "Ink", "Juniper", "Kettle"),
    *("Lanter", "Mallow", "Nettle", "Otter", "Pebble", "Quarrel", "Rushen", "Sedge", "Tansy", "Umber", "Vetch"),
    *("Wicker", "Yarrow", "Zinn", "Mør", "Säv", "Lün"),
)
FAMILY_ENDS = ("dell", "mark", "søn", "holt", "wick", "garth", "lund", "combe", "fold", "ström", "thwaite", "ning")


def full_names(dice: Random) -> Iterator[tuple[str, str]]:
    """Given and family name, one after the other; some share a family name, none are the same."""
    seen: set[tuple[str, str]] = set()
    while True:
        given = dice.choice(GIVEN_STARTS) + dice.choice(GIVEN_ENDS)
        name = (given, dice.choice(FAMILY_STARTS) + dice.choice(FAMILY_ENDS))
        if name not in seen:
            seen.add(name)
            yield name
