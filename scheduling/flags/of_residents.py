"""Flags about residents and their weeks: missed, due, overdue, interrupted."""

from program.rules.missed import INTERRUPTED_FROM
from scheduling.flags.states import STATE_AT

# What this week holds for each resident. Nobody knows yet whether what was not recorded was done: it is waited for.
# Stays and visits are counted in one heap instead of joined: how many there are is nothing a plan can know.
WEEK = """week AS MATERIALIZED (
    SELECT heap.resident_id, max(heap.building_id) AS building_id, max(heap.week_name) AS week_name,
           max(heap.since) AS since, max(heap.week_until) AS week_until,
           max(heap.sessions_a_week) - sum(heap.stands) AS lacking,
           array_agg(heap.missed_id ORDER BY heap.missed_id) FILTER (WHERE heap.missed_id IS NOT NULL) AS missed_ids,
           count(heap.missed_id) + sum(heap.is_unknown) AS explained
      FROM (
        SELECT stay.resident_id, stay.building_id, stay.week_name, greatest(stay.week_from, stay.enrolled_at) AS since,
               stay.week_until, stay.sessions_a_week, 0 AS stands, NULL::bigint AS missed_id, 0 AS is_unknown
          FROM stay
         WHERE NOT stay.is_held AND stay.sessions_a_week IS NOT NULL
        UNION ALL
        SELECT visit.resident_id, NULL, NULL, NULL, NULL, NULL,
               (visit.state IN ('done', 'published', 'started'))::int,
               CASE WHEN visit.state IN ('given up', 'missed') AND visit.published_at IS NOT NULL THEN visit.id END,
               (visit.state = 'not recorded' AND visit.of_day >= visit.recorded_from_day)::int
          FROM visit
         WHERE visit.is_this_week) AS heap
     GROUP BY heap.resident_id
    HAVING max(heap.sessions_a_week) > sum(heap.stands)
)"""

# What is on our side is one flag for all it took: one aide away, twelve sessions.
MISSED = """missed AS (
    SELECT week.building_id, 'missed' AS kind, said.cause,
           array_agg(session.id ORDER BY session.starts_at, session.id) AS sessions,
           array_agg(DISTINCT week.resident_id) AS residents,
           min(coalesce(session.given_up_at, session.day_closes_at)) AS since,
           min(week.week_until) AS due_at, 'coordinator' AS owner
      FROM week
     CROSS JOIN LATERAL unnest(week.missed_ids) AS lost (id)
     CROSS JOIN LATERAL (
        SELECT missing.id, missing.starts_at, missing.given_up_at, missing.day_closes_at,
               (missing.starts_at AT TIME ZONE building.timezone)::date AS of_day
          FROM program_session AS missing
          JOIN program_building AS building ON building.id = missing.building_id
         WHERE missing.id = lost.id OFFSET 0) AS session
      LEFT JOIN LATERAL (
        SELECT record.reason, record.reason_class FROM program_record AS record
         WHERE record.session_id = lost.id AND record.replaced_at IS NULL
           AND record.kind IN ('given up', 'attempt')
         ORDER BY record.happened_at DESC, record.id DESC LIMIT 1) AS why ON true
     CROSS JOIN LATERAL (
        SELECT CASE WHEN why.reason_class = 'our side' THEN why.reason || ':' || session.of_day
                    ELSE 'session:' || session.id END AS cause) AS said
     GROUP BY week.building_id, said.cause
)"""

DUE = """due AS (
    SELECT week.building_id, 'due' AS kind, 'resident:' || week.resident_id || ':' || week.week_name AS cause,
           ARRAY[]::bigint[] AS sessions, ARRAY[week.resident_id] AS residents,
           week.since, week.week_until AS due_at, 'coordinator' AS owner
      FROM week
     WHERE week.lacking > week.explained
)"""

# The time without a session is cut into the stretches that lie in no hold; the limit is passed in one of them.
OVERDUE = """overdue AS (
    SELECT stay.building_id, 'overdue' AS kind, 'resident:' || stay.resident_id AS cause,
           ARRAY[]::bigint[] AS sessions, ARRAY[stay.resident_id] AS residents,
           passed.at AS since, NULL::timestamptz AS due_at, 'coordinator' AS owner
      FROM stay
     CROSS JOIN LATERAL (
        SELECT coalesce(range_agg(tstzrange(hold.starts_at, hold.ends_at)), '{}'::tstzmultirange) AS held
          FROM program_hold AS hold WHERE hold.resident_id = stay.resident_id) AS pauses
     CROSS JOIN LATERAL (
        SELECT min(upper(piece.span) - (piece.counted - stay.overdue_after)) AS at
          FROM (SELECT counting.span,
                       sum(upper(counting.span) - lower(counting.span)) OVER (ORDER BY counting.span) AS counted
                  FROM unnest(
                       tstzmultirange(tstzrange(stay.without_since, greatest(stay.without_since, %(moment)s)))
                       - pauses.held) AS counting (span)) AS piece
         WHERE piece.counted > stay.overdue_after) AS passed
     WHERE NOT stay.is_held AND passed.at IS NOT NULL
)"""

# What was withdrawn or not recorded says nothing either way; a done one ends the run.
INTERRUPTED = f"""interrupted AS (
    SELECT stay.building_id, 'interrupted' AS kind, 'resident:' || stay.resident_id AS cause,
           run.sessions, ARRAY[stay.resident_id] AS residents, run.missed_at[{INTERRUPTED_FROM}] AS since,
           (SELECT min(session.starts_at) FROM program_session AS session
             WHERE session.resident_id = stay.resident_id AND session.starts_at > %(moment)s
               AND ({STATE_AT.format(s="session")}) = 'published') AS due_at,
           'coordinator' AS owner
      FROM stay
     CROSS JOIN LATERAL (
        SELECT array_agg(session.id ORDER BY session.starts_at, session.id) AS sessions,
               array_agg(coalesce(session.given_up_at, session.day_closes_at)
                         ORDER BY session.starts_at, session.id) AS missed_at
          FROM program_session AS session
         WHERE session.resident_id = stay.resident_id AND session.published_at IS NOT NULL
           AND session.starts_at > coalesce(stay.last_starts_at, '-infinity')
           AND ({STATE_AT.format(s="session")}) IN ('given up', 'missed')) AS run
     WHERE cardinality(run.sessions) >= {INTERRUPTED_FROM}
)"""  # noqa: S608 - made of our own words
