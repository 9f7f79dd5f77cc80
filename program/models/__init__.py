"""Tables, constraints and querysets; one noun a file. What can be a constraint is one, named as a sentence."""

from program.models.arrivals import Answer, Import
from program.models.audit import Audit
from program.models.calendar import Commitment, CommitmentTime
from program.models.circuit import LoadUnit, Station
from program.models.people import Role, Shift, ShiftTime, User
from program.models.places import Building, Closure, Hours, Region, Unit
from program.models.prescription import Prescription, PrescriptionLine
from program.models.record import ReasonClass, Record, Set
from program.models.resident import Escort, Help, Pairing, Person, Resident
from program.models.safety import Clearance, Hold, Incident
from program.models.scoped import scope
from program.models.session import Session, Slot
from program.models.signing_in import ApiToken, Link, SignInEvent, Tries

__all__ = [
    "Answer",
    "ApiToken",
    "Audit",
    "Building",
    "Clearance",
    "Closure",
    "Commitment",
    "CommitmentTime",
    "Escort",
    "Help",
    "Hold",
    "Hours",
    "Import",
    "Incident",
    "Link",
    "LoadUnit",
    "Pairing",
    "Person",
    "Prescription",
    "PrescriptionLine",
    "ReasonClass",
    "Record",
    "Region",
    "Resident",
    "Role",
    "Session",
    "Set",
    "Shift",
    "ShiftTime",
    "SignInEvent",
    "Slot",
    "Station",
    "Tries",
    "Unit",
    "User",
    "scope",
]
