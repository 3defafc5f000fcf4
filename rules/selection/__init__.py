"""Stage 2: which version governs, by its own date; the candidate coverages of each line."""
