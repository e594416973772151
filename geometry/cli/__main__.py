"""``python -m sheetstack.geometry.cli``: the command line."""

import sys

from .main import main

sys.exit(main())
