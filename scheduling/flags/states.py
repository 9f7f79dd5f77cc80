"""The state of a session in SQL: the same table as program/rules/states.py, which a test compares it with."""

# {s} is the session's row; the moment is a parameter.
STATE_AT = """CASE
    WHEN {s}.sets_done > 0 THEN 'done'
    WHEN {s}.withdrawn_at IS NOT NULL THEN 'withdrawn'
    WHEN {s}.given_up_at IS NOT NULL THEN 'given up'
    WHEN {s}.ended_at IS NOT NULL THEN 'ended without a set'
    WHEN {s}.published_at IS NULL AND {s}.started_at IS NULL THEN 'ended without a set'
    WHEN {s}.day_closes_at > %(moment)s THEN CASE WHEN {s}.started_at IS NULL THEN 'published' ELSE 'started' END
    WHEN {s}.started_at IS NOT NULL THEN 'ended without a set'
    WHEN {s}.attempted_at IS NOT NULL THEN 'missed'
    ELSE 'not recorded'
END"""
REALLY_ENDED = "greatest({s}.last_set_ended_at, {s}.ended_at)"
