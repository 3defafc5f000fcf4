"""The rule base: a policy's clauses, compiled to a ruleset, chain facts to findings, and findings to reasons on lines.

``ruleset_form`` says what a ruleset looks like, ``ruleset_check`` and ``ruleset_limits`` say which ones may be loaded,
``fact_check`` does the same for facts, and ``driver`` runs them; it alone touches the rules engine.
"""
