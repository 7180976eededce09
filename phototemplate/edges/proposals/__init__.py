"""Edges that nobody has drawn yet, found in photos and targets."""
