"""The documentation as plain HTML: no script, one style sheet, everything escaped."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

from markupsafe import Markup, escape

METHODS = ("get", "post", "delete")
STYLE = """body{font:16px/1.5 system-ui,sans-serif;max-width:60rem;margin:0 auto;padding:1rem}
body{color:#222;background:#fff}h1{font-size:1.6rem}h2{border-top:1px solid #ccc;padding-top:1rem}
code,pre{font-family:ui-monospace,monospace;font-size:.9em}
pre{background:#f4f4f2;padding:.7rem;overflow-x:auto}table{border-collapse:collapse;width:100%}
td,th{border-bottom:1px solid #ddd;padding:.25rem .5rem;text-align:left;vertical-align:top}
.method{font-weight:bold;color:#0b5394}nav a{margin-right:1rem}
@media (prefers-color-scheme:dark){body{color:#ddd;background:#181818}pre{background:#262626}a{color:#8ab4f8}}
"""


def page(title: str, body: Markup) -> str:
    """A whole page around ``body``."""
    return Markup(
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width"><title>{}</title>'
        '<link rel="stylesheet" href="/docs/style.css"></head><body>'
        '<nav><a href="/docs">The API</a><a href="/openapi.json">openapi.json</a></nav>{}</body></html>'
    ).format(title, body)


def from_markdown(text: str) -> Markup:
    """The little Markdown that the committed pages use: headings, paragraphs, lists, code."""
    return Markup("").join(_blocks(text))


def _blocks(text: str) -> Iterator[Markup]:
    for number, part in enumerate(re.split(r"^```\w*\n(.*?)^```$", text, flags=re.MULTILINE | re.DOTALL)):
        if number % 2:
            yield Markup("<pre>{}</pre>").format(part.rstrip())
            continue
        for block in filter(None, (piece.strip() for piece in part.split("\n\n"))):
            yield _block(block)


def _block(block: str) -> Markup:
    heading = re.match(r"(#{1,3}) (.*)", block)
    if heading:
        tag = Markup(f"h{len(heading[1])}")
        return Markup("<{}>{}</{}>").format(tag, _inline(heading[2]), tag)
    if block.startswith("- "):
        items = [_inline(" ".join(item.split())) for item in re.split(r"^- ", block, flags=re.MULTILINE)[1:]]
        return Markup("<ul>{}</ul>").format(Markup("").join(Markup("<li>{}</li>").format(item) for item in items))
    return Markup("<p>{}</p>").format(_inline(" ".join(block.split())))


def _inline(text: str) -> Markup:
    pieces = re.split(r"`([^`]+)`", text)
    return Markup("").join(Markup("<code>{}</code>").format(p) if n % 2 else escape(p) for n, p in enumerate(pieces))


def contract(spec: dict[str, Any]) -> str:
    """The OpenAPI document as one page."""
    parts = [Markup("<h1>{} {}</h1>").format(spec["info"]["title"], spec["info"]["version"])]
    parts.append(from_markdown(spec["info"]["description"]))
    parts.append(Markup("<h2>Routes</h2><ul>{}</ul>").format(Markup("").join(_listed(spec))))
    for path, methods in spec["paths"].items():
        parts += [_operation(path, method, told) for method, told in methods.items() if method in METHODS]
    parts.append(Markup("<h2>Shapes</h2>"))
    parts += [_schema(name, schema) for name, schema in sorted(spec["components"]["schemas"].items())]
    return page(spec["info"]["title"], Markup("").join(parts))


def _listed(spec: dict[str, Any]) -> Iterator[Markup]:
    for path, methods in spec["paths"].items():
        for method, told in methods.items():
            if method in METHODS:
                yield Markup('<li><a href="#{}"><code>{} {}</code></a> {}</li>').format(
                    told["operationId"], method.upper(), path, told.get("summary", "")
                )


def _operation(path: str, method: str, told: dict[str, Any]) -> Markup:
    head = Markup('<h2 id="{}"><span class="method">{}</span> <code>{}</code></h2><p>{}</p>').format(
        told["operationId"], method.upper(), path, _inline(told.get("description") or told.get("summary", ""))
    )
    rows = [
        (p["in"], p["name"], p.get("description") or p["schema"].get("description", ""))
        for p in told.get("parameters", ())
    ]
    body = told.get("requestBody", {}).get("content", {})
    parts = [head, _table(("in", "parameter", ""), rows)]
    for media_type, content in body.items():
        parts.append(Markup("<p>Body: <code>{}</code>, {}</p>").format(media_type, _link(content["schema"])))
        for name, example in content.get("examples", {}).items():
            value = example["value"]
            text = value if isinstance(value, str) else json.dumps(value, indent=1, ensure_ascii=False)
            parts.append(Markup("<p>{}</p><pre>{}</pre>").format(name.replace("_", " "), text))
    answers = [
        (status, ", ".join(r.get("content", {})), _inline(r.get("description", "")))
        for status, r in told["responses"].items()
    ]
    return Markup("").join([*parts, _table(("status", "media type", ""), answers)])


def _table(heads: tuple[str, ...], rows: list[tuple[Any, ...]]) -> Markup:
    if not rows:
        return Markup("")
    head = Markup("").join(Markup("<th>{}</th>").format(h) for h in heads)
    cells = (Markup("").join(Markup("<td>{}</td>").format(cell) for cell in row) for row in rows)
    lines = Markup("").join(Markup("<tr>{}</tr>").format(line) for line in cells)
    return Markup("<table><tr>{}</tr>{}</table>").format(head, lines)


def _schema(name: str, schema: dict[str, Any]) -> Markup:
    needed = schema.get("required", ())
    rows = [
        (field, _type(told), ("needed. " if field in needed else "") + told.get("description", ""))
        for field, told in schema.get("properties", {}).items()
    ]
    return Markup('<h3 id="schema-{}">{}</h3><p>{}</p>{}').format(
        name, name, schema.get("description", ""), _table(("field", "type", ""), rows)
    )


def _type(told: dict[str, Any]) -> Markup:
    if "$ref" in told:
        return _link(told)
    if "enum" in told:
        return escape(", ".join("null" if word is None else str(word) for word in told["enum"]))
    if "items" in told:
        return Markup("list of {}").format(_type(told["items"]))
    for many in ("oneOf", "anyOf"):
        if many in told:
            return Markup(" or ").join(_type(option) for option in told[many])
    kind = told.get("type", told.get("const", "any"))
    return escape(" or ".join(kind) if isinstance(kind, list) else str(kind))


def _link(schema: dict[str, Any]) -> Markup:
    name = schema.get("$ref", "").rpartition("/")[2]
    return Markup('<a href="#schema-{}">{}</a>').format(name, name) if name else _type(schema)
