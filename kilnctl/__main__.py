"""`python -m kilnctl` is the same as `kilnctl`."""

import sys

from .cli import main

sys.exit(main())
