"""Every type of refusal the service gives: its stable name, and what it means in a sentence. None is ever renamed."""

PROBLEM_TYPES = {
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
    "in-the-future": "Only what has already happened can be entered.",
    "no-exercise-plan": "The resident has no exercise plan yet.",
    "session-not-open": "The session has begun or ended, so its plan cannot change.",
    "too-soon": "The resident would not have recovered from another session.",
    "station-taken": "A station is taken at that time.",
    # Ours
    "broken": "Something broke on the service's side; nothing was changed.",
}
