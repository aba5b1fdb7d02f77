"""``python -m sentinel`` is the command ``sentinel``."""

import sys

from sentinel.cli import main

sys.exit(main())
