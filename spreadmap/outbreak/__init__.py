"""Which plants may be infected already, and what comes next."""
