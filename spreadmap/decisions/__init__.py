"""What to remove, where to look, where the lines run."""
