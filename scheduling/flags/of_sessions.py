"""Flags about sessions: late, not recorded, overtaken, too soon."""

from scheduling.flags.ground import FURTHEST_OPEN_DAY, LAST_TRAINED, opening_days
from scheduling.flags.states import REALLY_ENDED

# Each answers (building_id, kind, cause, sessions, residents, since, due_at, owner).
LATE = """late AS (
    SELECT visit.building_id, 'late' AS kind, said.cause,
           array_agg(visit.id ORDER BY visit.starts_at, visit.id) AS sessions,
           array_agg(DISTINCT visit.resident_id) AS residents,
           min(visit.starts_at + visit.grace) AS since, min(visit.day_closes_at) AS due_at, 'staff' AS owner
      FROM visit
     CROSS JOIN LATERAL (
        SELECT CASE WHEN visit.is_manned THEN 'session:' || visit.id ELSE 'nobody on the circuit' END AS cause) AS said
     WHERE visit.state = 'published' AND visit.starts_at + visit.grace < %(moment)s
     GROUP BY visit.building_id, said.cause
)"""

NOT_RECORDED = f"""not_recorded AS (
    SELECT visit.building_id, 'not recorded' AS kind, visit.of_day::text AS cause,
           array_agg(visit.id ORDER BY visit.starts_at, visit.id) AS sessions,
           array_agg(DISTINCT visit.resident_id) AS residents,
           min(visit.day_closes_at) AS since,
           (SELECT min(open_day.ends_at)
              FROM program_building AS building
             CROSS JOIN LATERAL ({
    opening_days("visit.of_day + 1", f"visit.of_day + {FURTHEST_OPEN_DAY}", "building.timezone")
}) AS open_day
             WHERE building.id = visit.building_id) AS due_at,
           'staff' AS owner
      FROM visit
     WHERE visit.state = 'not recorded' AND visit.of_day >= visit.recorded_from_day
     GROUP BY visit.building_id, visit.of_day
)"""  # noqa: S608 - made of our own words

# It became true with the session that cut it: the last that really happened.
OVERTAKEN = f"""overtaken AS (
    SELECT visit.building_id, 'overtaken' AS kind, 'session:' || visit.id AS cause,
           ARRAY[visit.id] AS sessions, ARRAY[visit.resident_id] AS residents,
           coalesce(trained.ended_at, visit.published_at) AS since, visit.starts_at AS due_at,
           'coordinator' AS owner
      FROM visit
     CROSS JOIN LATERAL ({LAST_TRAINED.format(resident="visit.resident_id")}) AS trained
     WHERE visit.state = 'published' AND visit.is_cut AND visit.held_from IS DISTINCT FROM visit.starts_at
)"""  # noqa: S608 - made of our own words

# The longest recovery is 1,000 hours: what is still recovered from was planned within 45 days.
TOO_SOON = f"""too_soon AS (
    SELECT session.building_id, 'too soon' AS kind, 'session:' || session.id AS cause,
           ARRAY[session.id] AS sessions, ARRAY[session.resident_id] AS residents,
           session.started_at AS since, recovered.at AS due_at, 'clinician' AS owner
      FROM program_session AS session
     CROSS JOIN LATERAL (
        SELECT {REALLY_ENDED.format(s="session")} + session.recovery_hours::float8 * interval '1 hour' AS at)
           AS recovered
     WHERE session.building_id = ANY(%(building_ids)s) AND session.starts_at > %(moment)s - interval '45 days'
       AND session.is_too_soon AND session.sets_done > 0 AND recovered.at > %(moment)s
)"""  # noqa: S608 - made of our own words
