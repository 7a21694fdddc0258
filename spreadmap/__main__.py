"""Run the command as `python -m spreadmap`."""

from spreadmap.cli import main

if __name__ == "__main__":
    main()
