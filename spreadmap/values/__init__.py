"""Frozen values that the rooms hand to each other: no files, no drawing, no clock."""
