"""A group of commands of which some are loaded only when asked for, so that a short command starts fast."""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from typing import Any

import click


class LaterGroup(click.Group):
    """``later``: command to ``module:attribute``."""

    def __init__(self, *args: Any, later: Mapping[str, str], **options: Any) -> None:
        super().__init__(*args, **options)
        self.later = later

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted({*super().list_commands(ctx), *self.later})

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        where = self.later.get(cmd_name)
        if where is None:
            return super().get_command(ctx, cmd_name)
        module, _, attribute = where.partition(":")
        command: click.Command = getattr(importlib.import_module(module), attribute)
        return command
