"""Biology: daylight, season and (later) life tables. Knows nothing of files or maps."""
