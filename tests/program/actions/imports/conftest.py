"""An administrator, and Arrowfen House from its workbook."""

import pytest

from program.models.scoped import set_scope
from tests import factories
from tests.program.actions.imports.arranging import started


@pytest.fixture
def administrator(db):
    """Somebody who starts buildings and is in the care of nobody."""
    person = factories.with_role(None, "administrator")
    set_scope([], user_id=person.pk, is_administration=True)
    return person


@pytest.fixture
def from_files(administrator):
    return started(administrator)
