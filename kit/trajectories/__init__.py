"""Trajectories: how the size of a wound changes over the weeks."""
