"""Everything with an outside: files, the command, and later the store and the API."""
