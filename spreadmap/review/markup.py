"""HTML and script text in which whatever a user wrote stays text."""

from __future__ import annotations

import html
import json
import re
from typing import Any

UNPRINTABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
"""Control characters: no HTML text may hold them, so each is shown as the sign for a character lost."""


class Html(str):
    """Text that is HTML already; every other `str` is escaped before it becomes part of a page."""

    __slots__ = ()


def escaped(part: object) -> str:
    """Return a part of a page as HTML: `Html` as it is, None as nothing, anything else as escaped text."""
    if part is None:
        return ""
    return part if isinstance(part, Html) else html.escape(UNPRINTABLE.sub("\ufffd", str(part)), quote=True)


def tag(name: str, /, *parts: object, **attributes: str | int | float | bool | None) -> Html:
    """Return one element; `class_` and `for_` lose their underscore, inner ones become hyphens.

    True gives an attribute without value; False and None leave it out.
    """
    given = "".join(
        f" {key.rstrip('_').replace('_', '-')}" + ("" if value is True else f'="{escaped(value)}"')
        for key, value in attributes.items()
        if value is not None and value is not False
    )
    if name in {"br", "input", "meta"}:
        return Html(f"<{name}{given}>")
    return Html(f"<{name}{given}>{''.join(escaped(part) for part in parts)}</{name}>")


def join(*parts: object) -> Html:
    """Return parts one after the other as HTML."""
    return Html("".join(escaped(part) for part in parts))


def script_value(value: Any) -> str:
    """Return a value as JSON that may stand inside a script element: ASCII only, and no sign that could end it."""
    text = json.dumps(value, ensure_ascii=True, allow_nan=False, sort_keys=True, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def script_text(text: str) -> str:
    """Return script text that cannot end its own element, without a pointer to a source map."""
    lines = [line for line in text.splitlines() if not line.startswith("//# sourceMappingURL=")]
    return "\n".join(lines).replace("</script", "<\\/script").replace("<!--", "<\\!--")
