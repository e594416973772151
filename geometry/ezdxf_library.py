"""The library ezdxf, loaded without the settings of whoever runs us.

ezdxf reads settings and a list of fonts from the home folder when it is imported. It fails where
that folder cannot be looked into, and settings found there could change what we write.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

#: A place below something that is no folder: nothing is found there.
_NOWHERE = os.path.join(os.devnull, "none")


@contextmanager
def _without_settings() -> Iterator[None]:
    """Let ezdxf find no settings, and no home folder where there is none to look into."""
    others = {"XDG_CONFIG_HOME": _NOWHERE, "EZDXF_CONFIG_FILE": _NOWHERE}
    with ExitStack() as leaving:
        try:
            (Path("~").expanduser() / "ezdxf").exists()
        except (OSError, RuntimeError):
            # The list of fonts is made for this once.
            fonts = leaving.enter_context(tempfile.TemporaryDirectory())
            others |= {"HOME": _NOWHERE, "USERPROFILE": _NOWHERE, "XDG_CACHE_HOME": fonts}
        before = {name: os.environ.get(name) for name in others}
        os.environ.update(others)
        try:
            yield
        finally:
            for name, value in before.items():
                if value is None:
                    del os.environ[name]
                else:
                    os.environ[name] = value


with _without_settings():
    import ezdxf
    import ezdxf.units

__all__ = ["ezdxf"]
