"""Every type of refusal the service gives: its stable name, and what it means in a sentence. None is ever renamed."""

PROBLEM_TYPES = {
    "administrator-exists": "There is an administrator already.",
    # The request itself
    "bad-request": "The request could not be read.",
    "unreadable": "The body of the request could not be read.",
    "unsupported-media-type": "The body came in a form that is not read here.",
    "not-acceptable": "The answer was asked for in a form that is not given here.",
    "method-not-allowed": "That cannot be done at this address.",
    "too-large": "The request is larger than what is taken at once.",
    "unknown-filter": "The address asks for something by a name that is not known here.",
    "invalid-filter": "The address asks for something in a way that cannot be understood.",
    "unknown-cursor": "The place in the list was not given out by this service for this list.",
    # Who asks
    "not-signed-in": "Nobody is signed in, or the sign-in has ended.",
    "token-missing": "The request came without the token that shows it was meant.",
    "not-allowed": "The person may see this but not do that.",
    "not-found": "There is nothing at this address that the person may see.",
    # Requests that come twice, and changes that cross
    "idempotency-key-missing": "A request that does something needs an Idempotency-Key, so that it may come twice.",
    "idempotency-key-invalid": "An Idempotency-Key has from 8 to 80 letters, digits, hyphens or underscores.",
    "idempotency-key-reused": "The Idempotency-Key has been used for another request.",
    "in-progress": "The same request is being answered just now.",
    "version-missing": "A change of something that exists needs the version it changes, in If-Match.",
    "version-malformed": "What stands in If-Match is not a version that this service gave out.",
    "stale-version": "Somebody else has changed this since the person looked.",
    "busy": "Somebody else is changing the same thing just now.",
    "clash": "It clashes with something that is there already.",
    # What was asked
    "invalid": "What was entered breaks a rule; the errors name the fields.",
    "refused": "The service will not do that as things stand; the sentence says why.",
    "already-applied": "The file has been applied already.",
    "already-ended": "It has ended already.",
    "already-withdrawn": "It has been withdrawn already.",
    "no-agreement": "Nobody has agreed to anything yet.",
    "already-on-the-circuit": "The person is on the circuit at that time already.",
    "unreadable-file": "The file cannot be read at all; the sentence says why.",
    "judge-again": "What is there has changed since the file was read, so it must be read again.",
    "refused-rows": "Rows of the file were refused, and it can only be applied whole.",
    "week-is-over": "The week is over.",
    "roster-not-draft": "The roster is not a draft: not built yet, published, or replaced.",
    "roster-clashes": "Sessions of the draft cannot be published as things stand now; the clashes name them.",
    "time-not-allowed": "A rule refuses that time; the answer names the rule and the next time that keeps all.",
    "in-the-future": "Only what has already happened can be entered.",
    "no-exercise-plan": "The resident has no exercise plan yet.",
    "session-not-open": "The session has begun or ended, so its plan cannot change.",
    "too-soon": "The resident would not have recovered from another session.",
    "station-taken": "A station is taken at that time.",
    # What happens on the day
    "cannot-start": "The session cannot be started; the rules name everything that is missing.",
    "already-seen": "Somebody has seen to it already.",
    # Reports
    "period-not-over": "The period has not ended yet.",
    "report-not-made": "The report is not made yet.",
    # People
    "second-factor-missing": "The person must set up a second factor first.",
    "link-used": "The link has been used, has expired or was replaced.",
    "last-administrator": "Nobody would be left who can add people.",
    # Ours
    "broken": "Something broke on the service's side; nothing was changed.",
}
