"""What is known of every plant on a date, triage by pest system, and how strongly plants send."""
