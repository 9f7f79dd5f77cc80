"""The same clients as for the pages of what is true."""

from tests.program.pages.conftest import client_of, coordinator, no_collected_files, queries, see_all

__all__ = ["client_of", "coordinator", "no_collected_files", "queries", "see_all"]
