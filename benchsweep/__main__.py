"""`python -m benchsweep` is the same as the command `benchsweep`."""

from benchsweep.cli import main

if __name__ == "__main__":
    main()
