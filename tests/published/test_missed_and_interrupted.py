"""One or two missed in a row are missed, three or more interrupt."""

import pytest

from program.rules.missed import longest_run, run_at_the_end, word_for

# Fairman CM et al. 2020, Med Sci Sports Exerc 52(2):315-322 (missed: one or two consecutive; interrupted: three or
# more) and Nilsen TS et al. 2018, 50(6):1134-1141 (interruption: three or more). The rows of letters are ours: P was
# there, M missed.
ROWS = {
    "": (0, 0, ""),
    "P": (0, 0, ""),
    "PMPMMP": (2, 0, "missed"),
    "PMMMPP": (3, 0, "interrupted"),
    "PMP": (1, 0, "missed"),
    "PPMM": (2, 2, "missed"),
    "MMPMMM": (3, 3, "interrupted"),
    "MMMMM": (5, 5, "interrupted"),
    "MPMPMPM": (1, 1, "missed"),
}


@pytest.mark.parametrize(("row", "told"), ROWS.items())
def test_the_longest_run_and_the_run_at_the_end(row: str, told: tuple[int, int, str]) -> None:
    missed = [letter == "M" for letter in row]

    assert (longest_run(missed), run_at_the_end(missed), word_for(longest_run(missed))) == told


def test_the_word_changes_between_two_and_three() -> None:
    assert [word_for(run) for run in range(5)] == ["", "missed", "missed", "interrupted", "interrupted"]
