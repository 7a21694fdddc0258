"""spreadmap: after each survey, what to remove first, where to look next, where the line runs."""
