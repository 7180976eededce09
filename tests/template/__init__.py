"""Checks of outline, pieces and drawing."""
