"""Where the committed pages are: beside the program in a checkout, in the share folder if installed."""

from __future__ import annotations

import sys
from pathlib import Path

_PLACES = (Path(__file__).resolve().parents[1] / "openapi", Path(sys.prefix) / "share" / "coldleg" / "openapi")


def pages_folder() -> Path:
    """The folder ``openapi``."""
    return next((place for place in _PLACES if (place / "problems").is_dir()), _PLACES[0])


def page(kind: str, name: str) -> str | None:
    """The Markdown of one page, None if there is none. ``kind`` is a folder: ``problems`` or ``findings``."""
    known = {path.stem: path for path in (pages_folder() / kind).glob("*.md")}
    return known[name].read_text(encoding="utf-8") if name in known else None
