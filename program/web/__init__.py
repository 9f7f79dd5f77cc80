"""What every door shares: whose rows show, headers, problems, paging, what has been looked at."""
