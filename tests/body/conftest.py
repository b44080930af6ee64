"""Makes `made_ovens` importable for the tests beside it, whatever way pytest imports them."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
