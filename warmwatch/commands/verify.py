"""`warmwatch verify FILE...`: is a recording, or a proof, as it was written?"""

import json
from pathlib import Path

import click

from warmwatch.errors import UsageError
from warmwatch.outputs.proof.reading import verify_file
from warmwatch.recording.seal.key import public_fingerprint
from warmwatch.recording.seal.report import require_key
from warmwatch.recording.seal.shop_log import read_log
from warmwatch.words.proof import report_lines, report_object


@click.command("verify")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--key", "key_file", type=click.Path(path_type=Path), help="Public key that must have signed."
)
@click.option(
    "--log", "log_file", type=click.Path(path_type=Path), help="The shop's log, to compare it with."
)
@click.option(
    "--authority",
    type=click.Path(path_type=Path),
    help="Certificate (PEM) of the time-stamp authority.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
def command(
    file: Path, key_file: Path | None, log_file: Path | None, authority: Path | None, as_json: bool
) -> int:
    """Say whether FILE, a recording or a proof PDF, is as warmwatch wrote it.

    Exit code 0 only for an intact, closed recording or its proof; 1 when it was changed; 3 when it
    is torn or was never closed; 4, 5 or 6 when a part stays unchecked or unsigned. What this
    proves: that the file was not altered after it was written, if it is signed by a key you know.
    It does not prove that the sensor told the truth.
    """
    log = None
    if log_file is not None:
        if not log_file.is_file():
            raise UsageError(f"There is no log {log_file}: it lies beside the shop key.")
        log = read_log(log_file)
    report = verify_file(file, log, None if authority is None else _certificate(authority))
    if key_file is not None:
        report = require_key(report, public_fingerprint(key_file))
    if as_json:
        found = report_object(file, report, compared=key_file is not None)
        click.echo(json.dumps(found, ensure_ascii=False))
    else:
        for text in report_lines(file, report, compared=key_file is not None):
            click.echo(text)
    return report.exit_code


def _certificate(path: Path) -> bytes:
    try:
        data = path.read_bytes()
    except OSError as error:
        raise UsageError(f"Cannot read {path} ({error.strerror or error}).") from None
    if b"BEGIN CERTIFICATE" not in data:
        raise UsageError(f"{path} is not a certificate in PEM form.")
    return data
