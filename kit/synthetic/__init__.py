"""Invents exports with a known truth, so that what the kit reports can be held against what was planted."""
