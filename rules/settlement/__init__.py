"""Stage 5: exact arithmetic, each step named and kept."""
