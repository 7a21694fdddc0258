"""Which plants may be infected already, and what comes next."""

from pathlib import Path

from spreadmap.machine_code import forget_stale_code

forget_stale_code(Path(__file__).parents[1], "outbreak", "pressure")
