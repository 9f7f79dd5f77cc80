"""What is proposed and what is due: the roster problem, its solver and checker, rosters, times."""
