"""Why a session did not happen, in three classes: the resident's choice, clinical, or our side."""

RESIDENT, CLINICAL, OUR_SIDE = "resident", "clinical", "our side"

CLASS_OF = {
    "declined": RESIDENT,
    "asleep": RESIDENT,
    "visitors": RESIDENT,
    "out": RESIDENT,
    "enough for today": RESIDENT,
    "agreement withdrawn": RESIDENT,
    "left the building": RESIDENT,
    "unwell": CLINICAL,
    "pain": CLINICAL,
    "hold": CLINICAL,
    "hospital": CLINICAL,
    "not cleared": CLINICAL,
    "warning sign": CLINICAL,
    "no staff": OUR_SIDE,
    "station out of order": OUR_SIDE,
    "ran late": OUR_SIDE,
    "not brought": OUR_SIDE,
    "emergency": OUR_SIDE,
    "closed": OUR_SIDE,
    "planned again": OUR_SIDE,
    "other": OUR_SIDE,
}

# What staff may choose between at the stations, in the order in which it is asked; the rest follows from other rules.
ASKED = {
    RESIDENT: ("declined", "asleep", "visitors", "out"),
    CLINICAL: ("unwell", "pain"),
    OUR_SIDE: ("no staff", "station out of order", "ran late", "not brought", "emergency", "other"),
}
# Signs that end a session at once (published stop criteria, reference facts 2.2), in plain words.
WARNING_SIGNS = (
    "chest pain",
    "dizziness",
    "breathlessness",
    "sudden pain",
    "pallor",
    "near-faint",
)
