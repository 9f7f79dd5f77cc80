"""Ways into the test database that the promises use, too."""

from tests.promises.conftest import connect_as, real_house

__all__ = ["connect_as", "real_house"]
