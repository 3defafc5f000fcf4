"""Adjudication as a pure function of a policy book and a claim file."""
