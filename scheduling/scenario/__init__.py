"""The demo organisation: invented from its names to its loads, and made by the same actions that people use."""

from scheduling.scenario.buildings import BUILDINGS, BuildingPlan
from scheduling.scenario.organisation import ADMINISTRATOR, Login, logins, seed_organisation
from scheduling.scenario.passwords import kept_password
from scheduling.scenario.second_factors import present_code_of, recovery_codes_of
from scheduling.scenario.seeding import Seeded, is_seeded, seed_building

__all__ = [
    "ADMINISTRATOR",
    "BUILDINGS",
    "BuildingPlan",
    "Login",
    "Seeded",
    "is_seeded",
    "kept_password",
    "logins",
    "present_code_of",
    "recovery_codes_of",
    "seed_building",
    "seed_organisation",
]
