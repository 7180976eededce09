"""Sightings -> approximate poses of photos and targets, and a start for every lens, without user input."""
