"""Target design and print, photo files -> Photo -> Sightings."""
