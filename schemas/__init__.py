"""The contracts: what a policy, a machine, a claim and a decision look like, validated at the edge."""
