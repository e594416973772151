"""Text made safe for HTML and XML."""

from __future__ import annotations

import html
import re

#: XML 1.0, 2.2: characters that may not stand in a document, not even escaped.
_FORBIDDEN = re.compile(r"[^\t\n\r\x20-\uD7FF\uE000-\uFFFD\U00010000-\U0010FFFF]")


def text(value: object) -> str:
    """Return a value as text that is safe between tags and in quoted attributes.

    >>> text('<b>"5 & 6"</b>')
    '&lt;b&gt;&quot;5 &amp; 6&quot;&lt;/b&gt;'
    """
    return html.escape(_FORBIDDEN.sub("", str(value)), quote=True)
