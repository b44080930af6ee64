"""Makes `ovens`, `spelling` and `judging` importable for the tests beside them, whatever way pytest imports these."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
