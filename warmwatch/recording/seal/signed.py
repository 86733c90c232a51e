"""What the signature beside a recording adds to its verification."""

from dataclasses import replace

from warmwatch.recording.seal.clock import signing_remarks
from warmwatch.recording.seal.report import Report, SealState
from warmwatch.recording.seal.signature import Signature, SignatureError, read_signature


def with_signature(report: Report, signed: bytes | None, name: str, sha256: str) -> Report:
    """Return the report with what `signed`, the signature's bytes, says of the file `name`.

    `sha256` is that of the file. Without a signature, or of a changed file, nothing is added.
    """
    if signed is None or report.state is SealState.CHANGED:
        return report
    if report.state not in (SealState.INTACT, SealState.OTHER_VERSION):
        reason = (
            "there is a signature, and only a closed recording is signed: its end was cut off, or "
            f"the signature is of another ({report.reason})"
        )
        return replace(report, state=SealState.CHANGED, reason=reason)
    try:
        signature = read_signature(signed)
    except SignatureError as error:
        return replace(report, state=SealState.CHANGED, reason=str(error))
    report = _signed_report(report, signature, sha256)
    if report.state is SealState.INTACT and signature.recording != name:
        renamed = f"it was signed under the name {signature.recording}"
        return replace(report, reason="; ".join(filter(None, (report.reason, renamed))))
    return report


def _signed_report(report: Report, signature: Signature, sha256: str) -> Report:
    """Return the report with a good signature in it; CHANGED when it is of another file.

    Who signed vouches for the events, also where another version made them.
    """
    if (signature.digest, signature.sha256) != (report.digest, sha256):
        reason = "the signature beside it belongs to another recording, or it was changed"
        return replace(report, state=SealState.CHANGED, reason=reason)
    return replace(
        report,
        remarks=(*report.remarks, *signing_remarks(report.ended_s, signature.time)),
        state=SealState.INTACT,
        signed_by=signature.fingerprint,
        signed_name=signature.key_name,
        signed_time=signature.time,
    )
