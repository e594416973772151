"""``python -m sheetstack.addon.packaging``: build the zips."""

import sys

from .package import main

sys.exit(main())
