"""`python -m mulchwright` is the command line."""

import sys

from mulchwright.cli.app import main

if __name__ == "__main__":
    sys.exit(main())
