"""The switchboard: settings, addresses, the worker, and the servers for a machine that has none."""
