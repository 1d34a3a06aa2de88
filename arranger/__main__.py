"""Run the command line as ``python -m arranger``."""

from arranger.cli import main

if __name__ == "__main__":
    main()
