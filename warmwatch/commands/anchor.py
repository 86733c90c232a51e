"""`warmwatch anchor`: time stamps from outside the shop, for recordings that still lack one."""

from pathlib import Path

import click

from warmwatch.app.known import shop_text
from warmwatch.errors import RecordingError
from warmwatch.recording.seal.anchor import anchor_path, fetch, pending_path, queue, stamp_remark
from warmwatch.recording.seal.report import SealState
from warmwatch.recording.seal.verify import verify_recording

_CLOSED = (SealState.INTACT, SealState.OTHER_VERSION)


@click.command("anchor")
@click.argument("recordings", nargs=-1, type=click.Path(path_type=Path))
@click.option("--url", metavar="URL", help="Address of a time-stamp authority (RFC 3161).")
def command(recordings: tuple[Path, ...], url: str | None) -> int:
    """Fetch the time stamps that RECORDINGS still lack; without names, of the shop's folder.

    A time stamp (RFC 3161) shows that a recording already existed at that time, whatever the shop's
    own clock says. Only a digest of it leaves the computer. --url asks for stamps of RECORDINGS
    that have asked for none so far.
    """
    folder = Path(shop_text("recordings") or "warmwatch-recordings")
    failed = 0
    for recording in recordings or _waiting(folder):
        try:
            if url is not None:
                queue(recording, url)
            click.echo(f"{recording.name}: {stamped(recording)}")
        except RecordingError as error:
            failed += 1
            click.echo(f"{recording.name}: {error} The stamp is still missing.", err=True)
    if not recordings and not failed:
        click.echo("No recording waits for a time stamp now.")
    return 1 if failed else 0


def _waiting(folder: Path) -> list[Path]:
    ending = pending_path(Path("x")).name[1:]
    return [p.with_name(p.name.removesuffix(ending)) for p in sorted(folder.glob(f"*{ending}"))]


def stamped(recording: Path) -> str:
    """Fetch a recording's time stamp and return what it says."""
    if anchor_path(recording).exists() and not pending_path(recording).exists():
        return "it has its time stamp already."
    if not pending_path(recording).exists():
        raise RecordingError("No time stamp was asked for: give --url.")
    report = verify_recording(recording)
    if report.state not in _CLOSED:
        raise RecordingError(f"It is {report.state}: only a closed recording gets one.")
    return stamp_remark(fetch(recording, report.digest)) + "."
