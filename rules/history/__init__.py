"""Stage 1: one ordered timeline; meter changes resolved to machine hours, every quantity with its records."""
