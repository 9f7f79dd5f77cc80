import pytest

from program.actions.pairings import pair, unpair
from program.models import Pairing
from program.rules.errors import Refused


def test_two_residents_are_paired_once_whichever_is_named_first(arrowfen):
    first, second = arrowfen.resident(), arrowfen.resident()
    pair(building=arrowfen.building, kind="apart", first=first, second=second)

    with pytest.raises(Refused) as refusal:
        pair(building=arrowfen.building, kind="together", first=second, second=first)

    assert refusal.value.sentence == "These two are already paired."


def test_nobody_is_paired_with_themselves(arrowfen):
    resident = arrowfen.resident()

    with pytest.raises(Refused) as refusal:
        pair(building=arrowfen.building, kind="apart", first=resident, second=resident)

    assert refusal.value.sentence == "A pair is of two different residents."


def test_a_pair_is_of_one_building(arrowfen, brindlewharf):
    with pytest.raises(Refused) as refusal:
        pair(building=arrowfen.building, kind="apart", first=arrowfen.resident(), second=brindlewharf.resident())

    assert refusal.value.sentence == "Both residents must be in Arrowfen House."


def test_a_pair_is_parted_again(arrowfen):
    together = pair(building=arrowfen.building, kind="together", first=arrowfen.resident(), second=arrowfen.resident())

    unpair(pairing=together)

    assert list(Pairing.objects.all()) == []
