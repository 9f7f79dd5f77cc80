"""What is true: places, people, residents, their plans and calendars, sessions and what happened to them."""
