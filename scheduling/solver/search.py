"""Filling the week: everybody in order of need first, then clearing a few weeks at a time and placing them better."""

from collections.abc import Callable
from random import Random

from scheduling.solver.filling import Filling, Week
from scheduling.solver.squeezing import squeeze_in

MOST_CLEARED = 6
SHARE_FOR_LACKING = 0.7
SHARE_SQUEEZED = 0.3
# How many clearings in a row may win nothing before the search ends by itself.
PATIENCE = 40
PATIENCE_A_RESIDENT = 15

Stop = Callable[[], bool]


def fill_in_order(filling: Filling, stop: Stop) -> None:
    """Highest reward first, then those with the fewest starts; where somebody is left out, first sessions first."""
    order = sorted(
        range(len(filling.weeks)),
        key=lambda place: (-max(filling.weeks[place].rewards[:2]), len(filling.weeks[place].places), place),
    )
    for place in order:
        if stop():
            return
        filling.plan(place)
    if not any(filling.missing(place) for place in order):
        return
    value, weeks = filling.value(), dict(enumerate(filling.placed))
    for place in order:
        filling.clear(place)
    _fill_in_rounds(filling, order, stop)
    if filling.value() < value:
        _put_back(filling, weeks)


def _fill_in_rounds(filling: Filling, order: list[int], stop: Stop) -> None:
    """One session for everybody, then the whole week beside everybody's first."""
    for most in (1, None):
        for place in order:
            if stop():
                return
            week = filling.clear(place)
            filling.plan(place, most)
            if len(filling.placed[place]) < len(week):
                filling.clear(place)
                filling.hold(place, week)


def improve(filling: Filling, target: int | None, stop: Stop, found: Callable[[], None]) -> None:
    """Until the target value is reached, the search wins nothing for long, or `stop` says so."""
    random = Random(1)  # noqa: S311 - chance for a search, always the same
    places = [place for place in range(len(filling.weeks)) if len(filling.weeks[place].places)]
    if not places:
        return
    value = filling.value()
    fruitless = 0
    most_fruitless = PATIENCE + PATIENCE_A_RESIDENT * len(places)
    while fruitless < most_fruitless and value != target and not stop():
        before = _change(filling, places, random)
        new_value = filling.value()
        if new_value < value:
            _put_back(filling, before)
        fruitless = 0 if new_value > value else fruitless + 1
        if new_value > value:
            value = new_value
            found()


def _change(filling: Filling, places: list[int], random: Random) -> dict[int, Week]:
    """Tries one thing and answers the weeks that it touched, as they were before."""
    lacking = [place for place in places if filling.missing(place)]
    if lacking and random.random() < SHARE_SQUEEZED:
        return squeeze_in(filling, random.choice(lacking), random) or {}
    chosen = random.choice(lacking if lacking and random.random() < SHARE_FOR_LACKING else places)
    cleared = [chosen, *_rivals(filling, chosen, places, random)]
    before = {place: filling.clear(place) for place in cleared}
    for place in _order(filling, cleared, random):
        filling.board.turned_by = random.choice((0, 0, random.randrange(len(filling.problem.stations))))
        filling.plan(place)
    return before


def _put_back(filling: Filling, weeks: dict[int, Week]) -> None:
    for place in weeks:
        filling.clear(place)
    for place, week in weeks.items():
        filling.hold(place, week)


def _rivals(filling: Filling, chosen: int, places: list[int], random: Random) -> list[int]:
    """Some of those who are there at one of the better starts of the chosen, and those to be together with them."""
    weeks = filling.weeks[chosen]
    profit = filling.profits[chosen]
    start = max((random.randrange(len(weeks.at)) for _ in range(3)), key=lambda legal: profit[legal])
    way = weeks.starts.needs.way_turns * filling.layout.turn
    begins, ends = int(weeks.at[start]) - way, int(weeks.ends[start]) + way
    rivals = [
        place
        for place in places
        if place != chosen and any(session.at < ends and begins < session.end for session in filling.placed[place])
    ]
    count = random.randint(1, MOST_CLEARED)
    others = random.sample(rivals, min(count, len(rivals)))
    others += [friend.place for friend in filling.together[chosen] if friend.place not in others]
    return others


def _order(filling: Filling, cleared: list[int], random: Random) -> list[int]:
    first, *others = cleared
    noise = {place: random.random() for place in others}
    others.sort(key=lambda place: (len(filling.weeks[place].places) * (0.5 + noise[place]), place))
    return [first, *others]
