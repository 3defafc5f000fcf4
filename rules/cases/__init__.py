"""Worked cases run against policies: the same code serves policy owners and this project's own tests."""
