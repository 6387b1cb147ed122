"""`python -m tracekit` is the same as `tracekit`."""

from tracekit.cli import main

if __name__ == "__main__":
    main()
