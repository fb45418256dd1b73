"""Belief over faults: what each looks like, how likely each is, and which test would tell most."""
