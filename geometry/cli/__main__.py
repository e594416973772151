"""``python -m sheetstack.geometry.cli``: the command line."""

from .main import run

run()
