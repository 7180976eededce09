"""Tests of the adjustment's assumptions: wrong sightings, moved or bent targets, print scales."""
