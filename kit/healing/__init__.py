"""Healing: how long wounds took to close, and what else became of them."""
