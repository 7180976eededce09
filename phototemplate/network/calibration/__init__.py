"""Calibration of one lens from photos of boards, and what photos determine of a lens."""
