"""Infection pressure at points and on grids."""
