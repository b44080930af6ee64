"""Makes `safety_scenes` importable for the tests in this folder, however pytest imports them."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
