"""Policies checked, canonical, digested and immutable; conventions and fall-backs pinned by digest."""
