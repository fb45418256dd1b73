"""``coldleg keys``: make, list and revoke API keys."""

from __future__ import annotations

from pathlib import Path

import click

from rules import InputError
from service.keys import MOST_PER_MINUTE, SCOPES, KeyStore, default_file
from service.opening import refuse

keys_option = click.option(
    "--keys",
    "keys_file",
    type=click.Path(dir_okay=False, path_type=Path),
    envvar="COLDLEG_KEYS",
    help="The keys' file; by default keys.json in the user's configuration folder.",
)


@click.group("keys")
def keys_group() -> None:
    """API keys. As soon as one exists, a service that is started asks every caller for one."""


@keys_group.command("add")
@click.argument("name")
@click.option(
    "--scope", "scopes", multiple=True, type=click.Choice(SCOPES), help="May be repeated; triage unless given."
)
@click.option(
    "--per-minute", default=600, show_default=True, type=click.IntRange(0, MOST_PER_MINUTE), help="0: no limit."
)
@keys_option
def add_command(name: str, scopes: tuple[str, ...], per_minute: int, keys_file: Path | None) -> None:
    """Make a key for NAME and print it, this once: it is kept as a hash only."""
    try:
        token, record = KeyStore(keys_file or default_file()).add(
            name, tuple(dict.fromkeys(scopes)) or ("triage",), per_minute
        )
    except InputError as error:
        refuse(error)
    click.echo(token)
    click.echo(f"key {record.key} of {name}: {', '.join(record.scopes)}; keep it, it is not shown again", err=True)


@keys_group.command("list")
@keys_option
def list_command(keys_file: Path | None) -> None:
    """List the keys: id, scopes, rate, when made and revoked."""
    try:
        records = KeyStore(keys_file or default_file()).records()
    except InputError as error:
        refuse(error)
    click.echo(f"{'id':8}  {'name':20}  {'scopes':16}  {'rate':16}  state")
    for record in records:
        rate = f"{record.per_minute} a minute" if record.per_minute else "no limit"
        state = f"revoked {record.revoked}" if record.revoked else f"made {record.made}"
        click.echo(f"{record.key}  {record.name:20}  {', '.join(record.scopes):16}  {rate:16}  {state}")
    click.echo(f"{sum(record.revoked is None for record in records)} of {len(records)} keys may be used.", err=True)


@keys_group.command("revoke")
@click.argument("key", metavar="ID")
@keys_option
def revoke_command(key: str, keys_file: Path | None) -> None:
    """Make the key with this ID useless; a running service notices within seconds."""
    try:
        record = KeyStore(keys_file or default_file()).revoke(key)
    except InputError as error:
        refuse(error)
    click.echo(f"key {record.key} of {record.name} is revoked")
