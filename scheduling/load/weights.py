"""What a session is worth, so that a higher line of a good roster always outweighs all lower ones together."""

from collections.abc import Collection, Mapping, Sequence

from scheduling.problem import Value

# What is merely nicer, a session: each is a whole number, and their sum is the most that one session can cost.
UNUSUAL_TIME = 2
OTHER_HALF_OF_THE_DAY = 3
MOVES_A_COMMITMENT = 6
SHORT_GAP = 2
SHORT_GAP_HOURS = 60
TOGETHER = 1
MOST_A_SESSION = UNUSUAL_TIME + OTHER_HALF_OF_THE_DAY + MOVES_A_COMMITMENT + 2 * SHORT_GAP


def rewards(
    *, asked: Mapping[str, int], started: Collection[str], overdue: Collection[str], pairs: int = 0
) -> dict[str, tuple[int, ...]]:
    """Rewards of each resident's new sessions, first to last (design 4.4, lines 1, 2 and 4).

    `asked`: new sessions a resident; `started`: residents who have one this week already, so that every new one is a
    further one; `overdue`: residents whose first session counts before all other firsts; `pairs`: how many pairs of
    residents are gladly together.
    """
    total = sum(asked.values())
    firsts = sum(1 for resident, sessions in asked.items() if sessions and resident not in started)
    # A pair may start together with each session of the week.
    soft = total * (MOST_A_SESSION + TOGETHER * pairs)
    further = soft + 1
    first = further * (total - firsts + 1)
    overdue_first = first * (firsts + 1)
    told = {}
    for resident, sessions in asked.items():
        if resident in started:
            told[resident] = (further,) * sessions
        else:
            leading = overdue_first if resident in overdue else first
            told[resident] = (leading, *(further,) * (sessions - 1))[:sessions]
    return told


def most_sessions(worth: Collection[Sequence[Value]], bound: Value) -> int:
    """How many sessions the best roster could place, given a proven bound on its value.

    A roster's rewards are at most its value and what is merely nicer, which all together is worth less than the
    smallest reward. Sessions are left out from a resident's last to the first.
    """
    given = [rewards for rewards in worth if rewards]
    asked = sum(len(rewards) for rewards in given)
    if not asked:
        return 0
    surplus = sum(map(sum, given)) - (bound + min(map(min, given)) - 1)
    # The most that can be dropped with so many sessions left out.
    dropped: list[Value] = [0, *[-1] * asked]
    for rewards in given:
        for left_out in range(asked, 0, -1):
            for count in range(1, min(len(rewards), left_out) + 1):
                before = dropped[left_out - count]
                if before >= 0:
                    dropped[left_out] = max(dropped[left_out], before + sum(rewards[-count:]))
    return next((asked - left_out for left_out in range(asked + 1) if dropped[left_out] >= surplus), 0)
