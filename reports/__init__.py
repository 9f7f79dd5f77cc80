"""What it adds up to: figures and reports. Reads the others, writes only its own reports."""
