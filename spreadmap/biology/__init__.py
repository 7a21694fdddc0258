"""Biology: life tables, degree-days, the mite's season, latency, daylight. Knows nothing of files or maps."""
