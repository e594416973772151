"""The library ezdxf, loaded without settings of whoever runs us, and without writing to their home.

ezdxf reads settings from the home folder when it is imported, and keeps a list of all fonts there.
It fails where that folder cannot be looked into, complains where it cannot be written, and settings
found there could change what we write. We use none of its fonts.
"""

from __future__ import annotations

import json
import logging
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

#: A place below something that is no folder: nothing is found there, and nothing can be written.
_NOWHERE = os.path.join(os.devnull, "none")
#: Where ezdxf looks for its list of fonts, and one that names none: no fonts are looked for then,
#: or, by an ezdxf that has another version of lists, for nothing but this once.
_FONTS, _NO_FONTS = Path("ezdxf", "font_manager_cache.json"), {"version": 2, "font-faces": []}


@contextmanager
def _without_settings() -> Iterator[None]:
    """Let ezdxf find no settings, no home folder and no fonts, and be silent about it."""
    others = dict.fromkeys(("HOME", "USERPROFILE", "XDG_CONFIG_HOME", "XDG_CACHE_HOME"), _NOWHERE)
    others["EZDXF_CONFIG_FILE"] = _NOWHERE
    log = logging.getLogger("ezdxf")
    with ExitStack() as leaving:
        # Where no temporary folder can be made either, ezdxf looks for fonts itself.
        with suppress(OSError):
            fonts = tempfile.mkdtemp()
            for _ in range(2):  # what the system refuses to remove once, it may remove then
                leaving.callback(shutil.rmtree, fonts, ignore_errors=True)
            (Path(fonts) / _FONTS).parent.mkdir()
            (Path(fonts) / _FONTS).write_text(json.dumps(_NO_FONTS), encoding="utf-8")
            others["XDG_CACHE_HOME"] = fonts
        before = {name: os.environ.get(name) for name in others}
        silent = log.disabled
        os.environ.update(others)
        log.disabled = True
        try:
            yield
        finally:
            log.disabled = silent
            for name, value in before.items():
                if value is None:
                    del os.environ[name]
                else:
                    os.environ[name] = value


with _without_settings():
    import ezdxf
    import ezdxf.units

__all__ = ["ezdxf"]
