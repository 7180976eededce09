"""Sightings + known lengths -> Network (bundle adjustment, calibration) -> WorkPlane, rectified view."""
