"""What every flag is computed from: each building's clock, the sessions of these days, the residents to be trained."""

from scheduling.flags.states import REALLY_ENDED, STATE_AT

# How far around a day to look for one on which the building is open; closed for longer, nobody waits for records.
FURTHEST_OPEN_DAY = 62


def opening_days(first: str, last: str, zone: str) -> str:
    """The days from `first` to `last` on which the building of `place` is open, as (of_day, ends_at).

    A day counts unless closures of the whole building cover each of its periods.
    """
    return f"""
    SELECT day.of_day::date AS of_day, max(period.closes_at) AS ends_at
      FROM generate_series(({first})::timestamp, ({last})::timestamp, interval '1 day') AS day (of_day)
      JOIN program_hours AS hours ON hours.building_id = building.id AND hours.kind = 'open'
       AND hours.weekday = extract(isodow FROM day.of_day) - 1
     CROSS JOIN LATERAL (
        SELECT (day.of_day + make_interval(mins => hours.starts_minute)) AT TIME ZONE {zone} AS opens_at,
               (day.of_day + make_interval(mins => hours.ends_minute)) AT TIME ZONE {zone} AS closes_at) AS period
     WHERE NOT EXISTS (
        SELECT FROM program_closure AS closure
         WHERE closure.building_id = hours.building_id AND closure.unit_id IS NULL AND closure.station_id IS NULL
           AND closure.starts_at <= period.opens_at
           AND (closure.ends_at IS NULL OR closure.ends_at >= period.closes_at))
     GROUP BY day.of_day"""  # noqa: S608 - made of our own words


# recorded_from: the last day that has ended among those on which the building is open. What was not recorded on an
# earlier day has had its next open day, and is history.
PLACE = f"""place AS MATERIALIZED (
    SELECT building.id AS building_id, building.timezone,
           make_interval(mins => building.grace_minutes) AS grace,
           make_interval(hours => building.overdue_hours) AS overdue_after,
           to_char(week.monday, 'IYYY-"W"IW') AS week_name,
           week.monday::timestamp AT TIME ZONE building.timezone AS week_from,
           (week.monday + 7)::timestamp AT TIME ZONE building.timezone AS week_until,
           recorded.from_day AS recorded_from_day,
           recorded.from_day::timestamp AT TIME ZONE building.timezone AS recorded_from,
           EXISTS (SELECT FROM program_shifttime AS shift WHERE shift.building_id = building.id
                    AND shift.starts_at <= %(moment)s AND shift.ends_at > %(moment)s) AS is_manned
      FROM program_building AS building
     CROSS JOIN LATERAL (SELECT (%(moment)s AT TIME ZONE building.timezone)::date AS today) AS here
     CROSS JOIN LATERAL (SELECT date_trunc('week', here.today::timestamp)::date AS monday) AS week
     CROSS JOIN LATERAL (
        SELECT coalesce(max(open_day.of_day), here.today - {FURTHEST_OPEN_DAY}) AS from_day
          FROM ({opening_days(f"here.today - {FURTHEST_OPEN_DAY}", "here.today", "building.timezone")}) AS open_day
         WHERE open_day.ends_at <= %(moment)s) AS recorded
     WHERE building.id = ANY(%(building_ids)s)
)"""  # noqa: S608 - made of our own words

# Everything from the beginning of the week, or from the last day whose records are still waited for.
VISIT = f"""visit AS MATERIALIZED (
    SELECT session.id, session.building_id, session.resident_id, session.starts_at, session.day_closes_at,
           session.published_at, session.given_up_at, session.held_from, session.is_cut,
           place.grace, place.is_manned, place.week_until, place.recorded_from_day,
           (session.starts_at AT TIME ZONE place.timezone)::date AS of_day,
           session.starts_at >= place.week_from AND session.starts_at < place.week_until AS is_this_week,
           {STATE_AT.format(s="session")} AS state
      FROM program_session AS session
      JOIN place ON place.building_id = session.building_id
     WHERE session.building_id = ANY(%(building_ids)s)
       AND session.starts_at >= (SELECT min(least(place.week_from, place.recorded_from)) FROM place)
       AND session.starts_at >= least(place.week_from, place.recorded_from)
)"""  # noqa: S608 - made of our own words

# What ended last is among the last three by plan, whatever was brought forward or late; an index finds them.
LAST_TRAINED = f"""
    SELECT max(done.starts_at) AS starts_at, max(done.ended_at) AS ended_at
      FROM (SELECT session.starts_at, {REALLY_ENDED.format(s="session")} AS ended_at
              FROM program_session AS session
             WHERE session.resident_id = {{resident}} AND session.sets_done > 0
             ORDER BY session.starts_at DESC LIMIT 3) AS done"""  # noqa: S608 - made of our own words

# Residents in the programme now: enrolled, here, and asked to train.
STAY = f"""stay AS MATERIALIZED (
    SELECT resident.building_id, resident.id AS resident_id, plan.sessions_a_week,
           greatest(resident.enrolled_at, resident.since) AS enrolled_at, place.overdue_after,
           place.week_name, place.week_from, place.week_until, trained.starts_at AS last_starts_at,
           coalesce(trained.ended_at, resident.last_session_ended_at, resident.enrolled_at) AS without_since,
           EXISTS (SELECT FROM program_hold AS hold WHERE hold.resident_id = resident.id
                    AND hold.starts_at <= %(moment)s AND (hold.ends_at IS NULL OR hold.ends_at > %(moment)s)) AS is_held
      FROM program_resident AS resident
      JOIN place ON place.building_id = resident.building_id
      LEFT JOIN LATERAL (
        SELECT version.sessions_a_week FROM program_prescription AS version
         WHERE version.resident_id = resident.id ORDER BY version.number DESC LIMIT 1) AS plan ON true
     CROSS JOIN LATERAL ({LAST_TRAINED.format(resident="resident.id")}) AS trained
     WHERE resident.building_id = ANY(%(building_ids)s)
       AND resident.enrolled_at IS NOT NULL AND resident.since <= %(moment)s
       AND (resident.until IS NULL OR resident.until > %(moment)s)
       AND resident.agreed_on IS NOT NULL AND resident.agreement_withdrawn_at IS NULL
)"""  # noqa: S608 - made of our own words
