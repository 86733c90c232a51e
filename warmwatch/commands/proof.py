"""`warmwatch proof RECORDING`: a PDF for the customer, with the recording inside."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from warmwatch.app.known import shop_text
from warmwatch.app.signing import Seal, gather_signed
from warmwatch.commands.key import default_key, now_text, open_key
from warmwatch.commands.options import read_job_file
from warmwatch.core.level.amounts import fluid_from_mapping
from warmwatch.core.level.ledger import FluidData
from warmwatch.errors import RecordingError, UsageError, WarmwatchError
from warmwatch.recording.seal.anchor import queue
from warmwatch.recording.seal.shop_log import log_path
from warmwatch.words.catalogue import next_lines, phrase

if TYPE_CHECKING:
    from warmwatch.outputs.proof.visit import Later, Visit


@click.command("proof")
@click.argument("recordings", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "-o", "--output", type=click.Path(path_type=Path), metavar="FILE", help="PDF to write."
)
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter"]),
    help="Size of the pages [default: the book's, else a4].",
)
@click.option(
    "--job",
    "job_file",
    type=click.Path(path_type=Path),
    help="Job file with [fluid], [shop] or [work], where they were written down later.",
)
@click.option("--anchor", metavar="URL", help="Have a time-stamp authority (RFC 3161) stamp it.")
@click.option("--sign", is_flag=True, help="Sign the PDF and the recordings with the shop key.")
@click.option(
    "--key", "key_file", type=click.Path(path_type=Path), help="Another key to sign with."
)
def command(
    recordings: tuple[Path, ...],
    output: Path | None,
    paper: str | None,
    job_file: Path | None,
    anchor: str | None,
    sign: bool,
    key_file: Path | None,
) -> int:
    """Make a PDF that shows at what temperature, and under what conditions, the level was set.

    RECORDINGS are one, or all of one visit: they get one ledger and one verdict. They and their
    companions are attached: one file is the whole evidence.
    """
    target = output or recordings[-1].with_suffix(".pdf")
    _refuse_to_overwrite(target, recordings)
    key = open_key(key_file) if sign or key_file is not None else None
    # The libraries for drawing and for PDF take a second to load; only now are they needed.
    from warmwatch.outputs.proof.document import make_proof, unreadable
    from warmwatch.outputs.proof.page import proof_verdict
    from warmwatch.outputs.proof.visit import NOTHING_LATER
    from warmwatch.recording.reader import require_recording

    for recording in recordings:
        require_recording(recording)
    later = NOTHING_LATER if job_file is None else job_later(job_file)
    seal = None if key is None else Seal(key, log_path(key_file or default_key()))
    visit, noted = gather_signed(recordings, seal, now_text(), later)
    for facts in visit.recordings if anchor is not None else ():
        _anchor(facts.path, anchor or "")
    paper = paper or shop_text("paper") or "a4"
    _write(target, make_proof(visit, paper=paper, key=key, time=now_text(), noted=noted))
    verdict, sentence, remarks = proof_verdict(visit)
    click.echo(f"{verdict} {sentence}")
    for remark in remarks:
        click.echo(f"  {remark}")
    if missing := unreadable(visit):
        click.echo(missing, err=True)
    if others := _others_of(visit):
        click.echo(phrase("proof.others", files=", ".join(others)), err=True)
    click.echo(phrase("proof.made", path=str(target)))
    click.echo(next_lines(f"verify {target}")[0])
    return 0


def _others_of(visit: "Visit") -> list[str]:
    """Return the recordings of the same visit that lie beside these and were not named."""
    from warmwatch.app.same_visit import recordings_of

    named = {facts.path.name for facts in visit.recordings}
    beside = recordings_of(visit.decisive.path.parent, visit.decisive.visit)
    return [path.name for path in beside if path.name not in named]


def _anchor(recording: Path, url: str) -> None:
    """Fetch a time stamp; without a network it stays wanted, and the proof goes without."""
    from warmwatch.commands.anchor import stamped

    queue(recording, url)
    try:
        click.echo(f"{recording.name}: {stamped(recording)}", err=True)
    except RecordingError as error:
        click.echo(f"{error} Later: warmwatch anchor {recording}", err=True)


def job_later(path: Path) -> "Later":
    """Return the sections of a job file that a proof takes; UsageError when one is wrong."""
    from warmwatch.outputs.proof.visit import NOTHING_LATER, later_from_mapping

    job = read_job_file(path)
    try:
        later = later_from_mapping(job, str(job.get("unit", "C")))
    except ValueError as error:
        raise UsageError(f"The job file {path}: {error}.") from None
    if later == NOTHING_LATER:
        raise UsageError(f"The job file {path} has no [fluid], [shop] or [work] section.")
    return later


def job_fluid(path: Path) -> FluidData:
    """Return the `[fluid]` section of a job file; UsageError when there is none or it is wrong."""
    job = read_job_file(path)
    section = job.get("fluid")
    if not isinstance(section, dict):
        raise UsageError(f"The job file {path} has no [fluid] section.")
    try:
        return fluid_from_mapping(section, str(job.get("unit", "C")))
    except ValueError as error:
        raise UsageError(f"The job file {path}: fluid: {error}.") from None


def _refuse_to_overwrite(target: Path, recordings: Sequence[Path]) -> None:
    """Leave everything alone that is no proof of these recordings."""
    from warmwatch.outputs.proof.reading import is_proof_of

    names = {recording.name for recording in recordings}
    try:
        mine = not target.exists() or target.stat().st_size == 0 or is_proof_of(target, names)
    except OSError:
        return  # writing will tell
    if not mine:
        raise WarmwatchError(
            f"{target} is there already and is not a proof of this recording, so it is left alone: "
            "give another name with -o."
        )


def _write(target: Path, made: bytes) -> None:
    """Write the proof so that a full disk leaves an earlier one as it was."""
    part = target.with_name(f".{target.name}.part")
    try:
        if target.exists() and not target.is_file():
            target.write_bytes(made)
            return
        part.write_bytes(made)
        part.replace(target)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise WarmwatchError(
            f"The proof cannot be written to {target} ({error.strerror or error}): "
            "give another name with -o."
        ) from None
