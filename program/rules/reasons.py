"""Why a session did not happen, in three classes: the resident's choice, clinical, or our side."""

RESIDENT, CLINICAL, OUR_SIDE = "resident", "clinical", "our side"

CLASS_OF = {
    "declined": RESIDENT,
    "asleep": RESIDENT,
    "visitors": RESIDENT,
    "out": RESIDENT,
    "agreement withdrawn": RESIDENT,
    "left the building": RESIDENT,
    "unwell": CLINICAL,
    "pain": CLINICAL,
    "hold": CLINICAL,
    "hospital": CLINICAL,
    "not cleared": CLINICAL,
    "no staff": OUR_SIDE,
    "station out of order": OUR_SIDE,
    "ran late": OUR_SIDE,
    "not brought": OUR_SIDE,
    "emergency": OUR_SIDE,
    "closed": OUR_SIDE,
    "planned again": OUR_SIDE,
    "other": OUR_SIDE,
}
