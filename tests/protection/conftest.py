"""What every test of a rule needs: the cycles to feed it with."""

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).parent))  # for the cycles
