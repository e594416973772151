"""``python -m sheetstack.geometry``: the command line."""

import sys

from .command_line import main

sys.exit(main())
