"""The rules of the service as plain Python: no framework, no database, no clock."""
