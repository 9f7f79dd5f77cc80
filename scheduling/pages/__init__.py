"""Pages of what is proposed and what is due."""
