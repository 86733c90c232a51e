"""`warmwatch proof RECORDING`: a PDF for the customer, with the recording inside."""

from pathlib import Path

import click

from warmwatch.commands.key import now_text, open_key
from warmwatch.commands.options import read_job_file
from warmwatch.core.level.amounts import fluid_from_mapping
from warmwatch.core.level.ledger import FluidData
from warmwatch.errors import UsageError, WarmwatchError


@click.command("proof")
@click.argument("recording", type=click.Path(path_type=Path))
@click.option(
    "-o", "--output", type=click.Path(path_type=Path), metavar="FILE", help="PDF to write."
)
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter"]),
    default="a4",
    show_default=True,
    help="Size of the pages.",
)
@click.option(
    "--job",
    "job_file",
    type=click.Path(path_type=Path),
    help="Job file whose [fluid] section holds the amounts, where they came later.",
)
@click.option("--sign", is_flag=True, help="Sign the PDF and the recording with the shop key.")
@click.option(
    "--key", "key_file", type=click.Path(path_type=Path), help="Another key to sign with."
)
def command(
    recording: Path,
    output: Path | None,
    paper: str,
    job_file: Path | None,
    sign: bool,
    key_file: Path | None,
) -> int:
    """Make a PDF that shows at what temperature, and under what conditions, the level was set.

    The recording and its companions are attached to it: one file is the whole evidence.
    """
    target = output or recording.with_suffix(".pdf")
    _refuse_to_overwrite(target, recording)
    key = open_key(key_file) if sign or key_file is not None else None
    # The libraries for drawing and for PDF take a second to load; only now are they needed.
    from warmwatch.outputs.proof.document import make_proof
    from warmwatch.outputs.proof.facts import gather
    from warmwatch.recording.reader import require_recording
    from warmwatch.recording.seal.key import sign_recording
    from warmwatch.recording.seal.report import SealState
    from warmwatch.words.proof import verdict

    require_recording(recording)
    later = None if job_file is None else job_fluid(job_file)
    facts = gather(recording, later)
    if key is not None and facts.report.state is SealState.INTACT:
        sign_recording(recording, key, now_text())
        facts = gather(recording, later)
    made = make_proof(facts, paper=paper, key=key, time=now_text())
    _write(target, made)
    click.echo(verdict(facts.check, facts.job.band, facts.job.unit))
    click.echo(f"Proof: {target}")
    click.echo(f"Next: warmwatch verify {target}")
    return 0


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


def _refuse_to_overwrite(target: Path, recording: Path) -> None:
    """Leave everything alone that is no proof of this recording."""
    from warmwatch.outputs.proof.reading import is_proof_of

    try:
        mine = not target.exists() or target.stat().st_size == 0 or is_proof_of(target, recording)
    except OSError:
        return  # writing will tell
    if not mine:
        raise WarmwatchError(
            f"{target} is there already and is no proof of this recording, so it is left alone: "
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
