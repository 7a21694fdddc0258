"""Plants that are probably infected already, and what comes next."""
