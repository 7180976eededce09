"""Rigid motions, lens models, least squares with covariance, uncertainty. Knows no photos."""
