"""The doors of reports for programs."""
