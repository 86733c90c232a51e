"""`warmwatch key`: make the shop key, give out its public part, sign recordings."""

import os
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import click

from warmwatch.app.known import shop_text
from warmwatch.errors import UsageError
from warmwatch.recording.seal import key as keys
from warmwatch.recording.seal.shop_log import log_path, log_signed

PASSPHRASE_VARIABLE = "WARMWATCH_PASSPHRASE"  # noqa: S105 - the name of a variable
NEW_PASSPHRASE_VARIABLE = "WARMWATCH_NEW_PASSPHRASE"  # noqa: S105 - as above


def default_key() -> Path:
    """Return where the shop key lies when no file is named."""
    named = shop_text("key")
    if named:
        return Path(named).expanduser()
    return Path(click.get_app_dir("warmwatch")) / "shop-key.pem"


def open_key(path: Path | None) -> keys.ShopKey:
    """Return the shop key, asking for its passphrase where it has one.

    The passphrase may also stand in the environment variable WARMWATCH_PASSPHRASE.
    """
    path = path or default_key()
    key = _opened(path)
    if key.old_lock:
        click.echo(
            "This key is locked in an old way that is cheap to break: `warmwatch key lock` locks "
            "it in the present way, and the key stays the same.",
            err=True,
        )
    return key


def _opened(path: Path) -> keys.ShopKey:
    given = os.environ.get(PASSPHRASE_VARIABLE, "")
    try:
        return keys.load_key(path, given)
    except keys.PassphraseNeeded:
        if given:
            raise
        if not os.isatty(0):
            raise UsageError(
                f"The key {path} is locked: give its passphrase in {PASSPHRASE_VARIABLE}."
            ) from None
        return keys.load_key(path, click.prompt("Passphrase", hide_input=True, err=True))


def visit_key() -> keys.ShopKey | None:
    """Return the shop key for visits run from the page, None where there is none.

    Its passphrase is asked for here, on the laptop: nobody can type it on the page.
    """
    if os.isatty(0) and default_key().is_file():
        return open_key(None)
    return checkpoint_key()


def checkpoint_key() -> keys.ShopKey | None:
    """Return the shop key where there is one that opens without being asked for."""
    path = default_key()
    if not path.is_file():
        return None
    try:
        return keys.load_key(path, os.environ.get(PASSPHRASE_VARIABLE, ""))
    except UsageError as error:
        click.echo(f"warmwatch: {error} The recording is not signed while it runs.", err=True)
        return None


_key_option: Callable[..., Callable[..., object]] = click.option(
    "--key", "key_file", type=click.Path(path_type=Path), help="Key file [default: your own]."
)


@click.group("key")
def command() -> None:
    """Make the shop key, export its public part, sign recordings with it.

    A signature shows that a recording was not altered afterwards by anyone without the key. It
    does not show that the sensor told the truth.
    """


@command.command("make")
@click.option("--name", required=True, help="Name of the shop, shown beside each signature.")
@click.option("--passphrase", is_flag=True, help="Ask for a passphrase that locks the key.")
@_key_option
def make(name: str, passphrase: bool, key_file: Path | None) -> None:
    """Make a key; an existing one is never overwritten."""
    path = key_file or default_key()
    secret = ""
    if passphrase:
        secret = os.environ.get(PASSPHRASE_VARIABLE, "") or _new_passphrase()
    made = keys.make_key(path, name, secret)
    click.echo(f"Key {made.fingerprint} ({made.name}) is in {path}.")
    click.echo("Keep a copy in a safe place; who has it can sign as you.")
    click.echo("Next: warmwatch key public > shop-public.pem")


@command.command("lock")
@_key_option
def lock(key_file: Path | None) -> None:
    """Lock the key by a new pass phrase; the key, and what it has signed, stay the same.

    The new one may also stand in the environment variable WARMWATCH_NEW_PASSPHRASE.
    """
    path = key_file or default_key()
    given = os.environ.get(PASSPHRASE_VARIABLE, "")
    try:
        keys.load_key(path, given)
    except keys.PassphraseNeeded:
        if given or not os.isatty(0):
            raise
        given = click.prompt("Present passphrase", hide_input=True, err=True)
    new = os.environ.get(NEW_PASSPHRASE_VARIABLE, "") or _new_passphrase()
    made = keys.relock_key(path, given, new)
    click.echo(f"Key {made.fingerprint} ({made.name}) in {path} is locked with the new passphrase.")


def _new_passphrase() -> str:
    if not os.isatty(0):
        raise UsageError(f"Nobody can type a passphrase here: give it in {PASSPHRASE_VARIABLE}.")
    typed: str = click.prompt("Passphrase", hide_input=True, confirmation_prompt=True, err=True)
    return typed


@command.command("public")
@_key_option
def public(key_file: Path | None) -> None:
    """Print the public part, to be given to whoever is to check signatures."""
    click.echo(keys.public_pem(open_key(key_file)), nl=False)


@command.command("sign")
@click.argument("recordings", nargs=-1, required=True, type=click.Path(path_type=Path))
@_key_option
def sign(recordings: tuple[Path, ...], key_file: Path | None) -> None:
    """Sign closed recordings; what is changed or torn is not signed."""
    key = open_key(key_file)
    for recording in recordings:
        target = keys.sign_recording(recording, key, now_text())
        log_signed(recording, log_path(key_file or default_key()))
        click.echo(f"Signed by {key.fingerprint} ({key.name}): {target}")


def now_text() -> str:
    """Return the wall time in UTC, to the second."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
