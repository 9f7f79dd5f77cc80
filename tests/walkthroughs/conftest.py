"""What requests need in tests: no collected static files."""

import pytest


@pytest.fixture(autouse=True)
def no_collected_files(settings) -> None:
    settings.WHITENOISE_AUTOREFRESH = True
