"""Stage 3: months in service, machine hours, due points and their state, the paid share."""
