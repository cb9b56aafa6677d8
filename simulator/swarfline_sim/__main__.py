"""``python -m swarfline_sim``."""

import sys

from swarfline_sim.cli import main

if __name__ == "__main__":
    sys.exit(main())
