"""Make the virtual environment and install spreadmap into it; say in one line what is missing.

Does the same work as `make setup` on a desk without make: `python3 .ci/prepare.py .venv`, then
`.venv/bin/spreadmap demo demo_run`.
"""

import argparse
import hashlib
import os
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent
APT_LINE = "sudo apt-get install make python3 python3-venv libexpat1"
LEAST_PYTHON = (3, 11)


def stop(line):
    """Print one line and leave with exit code 2."""
    print(line, file=sys.stderr)
    raise SystemExit(2)


def fingerprint(extras):
    """Return a digest of all that decides what is installed."""
    digest = hashlib.sha256()
    for part in (ROOT / "pyproject.toml", HERE / "constraints.txt"):
        digest.update(part.read_bytes())
    digest.update(f"{sys.version_info[:3]} {extras} {ROOT}".encode())
    return digest.hexdigest()


def check_python():
    """Stop with one plain line where this Python cannot do the work."""
    if sys.version_info < LEAST_PYTHON:
        stop(f"Python {sys.version.split()[0]} is too old: spreadmap needs 3.11 or newer. Install it with: {APT_LINE}")
    try:
        import ensurepip  # noqa: F401
        import venv  # noqa: F401
    except ImportError:
        stop(f"Python's venv module is missing. Install it with: {APT_LINE}")


def run(command, failure):
    """Run a command; stop with one line where it fails."""
    environment = {**os.environ, "PIP_DISABLE_PIP_VERSION_CHECK": "1"}
    if subprocess.run(command, env=environment, check=False).returncode != 0:
        stop(failure)


def main():
    """Set up the environment where it is not ready yet."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", nargs="?", default=".venv", help="where the virtual environment goes")
    parser.add_argument("--dev", action="store_true", help="with what the tests and checks need")
    given = parser.parse_args()
    check_python()
    folder = Path(given.folder).resolve()
    python = folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    stamp, dev_stamp = folder / ".ready", folder / ".ready-dev"
    if dev_stamp.exists() and dev_stamp.read_text() == fingerprint("dev"):
        return
    if not given.dev and stamp.exists() and stamp.read_text() == fingerprint(""):
        return
    if not python.exists():
        run([sys.executable, "-m", "venv", str(folder)], f"The virtual environment could not be made. Try: {APT_LINE}")
    what = f"{ROOT}[dev,netcdf]" if given.dev else str(ROOT)
    print("Installing spreadmap and what it needs; this takes a minute or two the first time.", flush=True)
    run(
        [
            str(python),
            "-m",
            "pip",
            "install",
            "--quiet",
            "--constraint",
            str(HERE / "constraints.txt"),
            "--editable",
            what,
        ],
        "The packages could not be installed (is a package index within reach?). Run the same command again to go on.",
    )
    run(
        [str(python), "-c", "import rasterio"],
        f"rasterio does not load; most often the library libexpat is missing. Install it with: {APT_LINE}",
    )
    (dev_stamp if given.dev else stamp).write_text(fingerprint("dev" if given.dev else ""))


if __name__ == "__main__":
    main()
