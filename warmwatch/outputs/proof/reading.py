"""Reads a proof back: its seal, the recordings attached to it, and its page made again.

A file without an intact seal is not taken apart at all.
"""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from warmwatch.core.paperwork import section_to_mapping
from warmwatch.errors import InputError, RecordingError
from warmwatch.outputs.proof.attached import Attached, Bundle, attachments
from warmwatch.outputs.proof.document import log_text
from warmwatch.outputs.proof.pades import signature_trouble
from warmwatch.outputs.proof.remake import Found, Page, compare_page
from warmwatch.outputs.proof.visit import Later, Visit
from warmwatch.recording.seal.anchor import (
    MAX_ANSWER,
    Stamp,
    anchor_path,
    check,
    stamp_remark,
)
from warmwatch.recording.seal.pdf import PdfSeal, check_pdf, sealed_part
from warmwatch.recording.seal.report import Report, SealState, Vouched
from warmwatch.recording.seal.shop_log import entry_of, held_against, signature_of, trouble
from warmwatch.recording.seal.signature import Signature, SignatureError, read_signature
from warmwatch.recording.seal.verify import verify_bytes, verify_recording
from warmwatch.recording.sidecar import parse_sidecar

MAX_PDF = 128 << 20


def verify_file(
    path: str | Path, log: Sequence[bytes] | None = None, authority: bytes | None = None
) -> Report:
    """Verify a recording or a proof, told apart by how the file begins.

    `log` are the lines of the shop's log, and `authority` is the certificate (PEM) of a time-stamp
    authority, where the file is to be compared with them, too.

    InputError or RecordingError when it cannot be read at all.
    """
    path = Path(path)
    try:
        with path.open("rb") as file:
            is_pdf = file.read(5) == b"%PDF-"
            if not is_pdf:
                report = _logged(verify_recording(path), signature_of(path), log)
                return _stamped(report, [(report.digest, _anchor(path))], authority)
            data = b"%PDF-" + file.read(MAX_PDF)
    except OSError as error:
        raise InputError(f"Cannot read {path} ({error.strerror or error}).") from None
    if len(data) > MAX_PDF:
        raise InputError(f"{path.name} is longer than any proof.")
    return verify_pdf(data, log, authority)


def is_proof_of(path: Path, names: set[str]) -> bool:
    """Return whether a file is an intact proof of just these recordings.

    OSError when it cannot be read.
    """
    with path.open("rb") as file:
        data = sealed_part(file.read(MAX_PDF))
    try:
        held = {one.name for one in attachments(data).recordings} if check_pdf(data).intact else {}
    except InputError:
        return False
    return bool(held) and held == names


def verify_pdf(
    data: bytes, log: Sequence[bytes] | None = None, authority: bytes | None = None
) -> Report:
    """Verify a proof given as bytes; never raises for what is in it.

    `log` and `authority` are as in verify_file.
    """
    sealed = sealed_part(data)
    seal = check_pdf(sealed)
    if not seal.intact:
        return Report(SealState.CHANGED, seal.reason)
    if len(sealed) < len(data) and (reason := signature_trouble(data, seal.signed_by)):
        return Report(SealState.CHANGED, reason)
    try:
        bundle = attachments(sealed)
    except InputError as error:
        return Report(SealState.CHANGED, str(error))
    inside = [
        verify_bytes(one.name, one.recording, one.sidecar, one.signature, one.checkpoint)
        for one in bundle.recordings
    ]
    for one, report in zip(bundle.recordings, inside, strict=True):
        if report.state is SealState.CHANGED:
            reason = f"the attached recording {one.name}: {report.reason}"
            return replace(report, reason=reason, vouched=None)
    if bundle.making is not None and bundle.making.key != seal.signed_by:
        reason = f"the page says it is signed by {bundle.making.key or 'no key'}, and it is not"
        return Report(SealState.CHANGED, reason)
    if reason := _log_trouble(bundle, seal.signed_by):
        return Report(SealState.CHANGED, reason)
    page = compare_page(sealed, bundle)
    if page.visit is None:
        return Report(SealState.CHANGED, page.reason)
    report = _together(seal, bundle, inside, page, page.visit)
    if len(sealed) < len(data):
        told = "The PDF's own signature (PAdES) holds, and is by the same key."
        report = replace(report, inside=(*report.inside, told))
    report = report if log is None else _held(report, bundle, log)
    parts = zip(inside, bundle.recordings, strict=True)
    return _stamped(report, [(one.digest, part.anchor) for one, part in parts], authority)


def _together(
    seal: PdfSeal, bundle: Bundle, inside: Sequence[Report], page: Page, visit: Visit
) -> Report:
    """Return the report of the whole: what signs the PDF counts, as it covers the pages too."""
    worst = max(inside, key=lambda report: report.exit_code)
    keys = {report.signed_by for report in inside}
    first, decisive = visit.recordings[0], visit.job
    report = replace(
        worst,
        rows=sum(one.rows for one in inside),
        remarks=(*_visits(bundle), *(text for one in inside for text in one.remarks)),
        inside=(_PAGES[page.found] + page.reason, *_signers(bundle, inside)),
        told=_told(visit.later),
        vouched=Vouched(decisive, visit.verdict, first.trace.utc_s, first.zone),
        outcome=str(visit.verdict.outcome),
        signed_by=seal.signed_by,
        signed_name=_name(seal, bundle),
        signed_time="",
        bus=None,
    )
    if worst.state is not SealState.INTACT:
        return report
    if keys != {""} and keys != {seal.signed_by}:
        state, reason = SealState.PAGE_UNSIGNED, "who signed the recording did not sign the page"
        return replace(report, state=state, reason=reason)
    if page.found is not Found.SAME and not seal.signed_by:
        return replace(report, state=SealState.PAGE_NOT_MADE, reason=_NOT_MADE)
    return report


def _visits(bundle: Bundle) -> tuple[str, ...]:
    """Return a remark where recordings of several visits stand on one page."""
    try:
        sidecars = [parse_sidecar(one.sidecar or b"") for one in bundle.recordings]
    except RecordingError:  # of a newer version, which is told of it alone
        return ()
    ids = {str(sidecar.get("warmwatch:visit")) for sidecar in sidecars}
    if len(ids) < 2:
        return ()
    return (f"THE RECORDINGS ARE OF {len(ids)} VISITS by their own ids, and stand on one page",)


_PAGES = {
    Found.SAME: "The page was made again from the recording and is the same, byte for byte.",
    Found.WORDS: "The page has the words that the recording gives; its looks were not compared: ",
    Found.FACTS: (
        "The page has the label, band, temperatures and digest that the recording gives; its other "
        "words and its looks were not compared: "
    ),
}
_NOT_MADE = (
    "the page was made by another version or with other fonts, so it could not be made again, and "
    "nobody signed it: trust what is written here, not the page"
)


def _signers(bundle: Bundle, inside: Sequence[Report]) -> list[str]:
    lines = []
    for one, report in zip(bundle.recordings, inside, strict=True):
        signed = "is not signed"
        if report.signed_by:
            name = f" ({report.signed_name})" if report.signed_name else ""
            signed = f"is signed by key {report.signed_by}{name} on {report.signed_time}"
        lines.append(f"The recording {one.name} {signed}.")
    if bundle.making is not None and (text := log_text(bundle.making)):
        lines.append(text)
    return lines


def _logged(report: Report, signature: Signature | None, log: Sequence[bytes] | None) -> Report:
    """Return the report of a recording compared with the shop's log."""
    if log is None or report.state is not SealState.INTACT:
        return report
    if signature is None or entry_of(signature) not in log:
        return replace(report, state=SealState.NOT_IN_LOG, reason="the log does not hold it")
    line = log.index(entry_of(signature)) + 1
    told = f"It stands in line {line} of {len(log)} in the shop's log."
    return replace(report, inside=(*report.inside, told))


def _held(report: Report, bundle: Bundle, log: Sequence[bytes]) -> Report:
    """Return the report of a proof compared with the shop's log."""
    if report.state is not SealState.INTACT:
        return report
    noted = None if bundle.making is None else bundle.making.noted
    reason = "it does not mention the log" if noted is None else held_against(noted.head, log)
    if reason:
        return replace(report, state=SealState.NOT_IN_LOG, reason=reason)
    told = "The shop's log still begins as it did when this proof was made."
    return replace(report, inside=(*report.inside, told))


def _anchor(recording: Path) -> bytes | None:
    try:
        return anchor_path(recording).read_bytes()[:MAX_ANSWER]
    except OSError:
        return None


def _stamped(
    report: Report, anchors: Sequence[tuple[str, bytes | None]], authority: bytes | None
) -> Report:
    """Return the report with what time stamps say; each recording needs one by `authority`."""
    stamps = [
        Stamp(trouble="there is none") if answer is None else check(answer, digest, authority)
        for digest, answer in anchors
    ]
    told = [stamp_remark(s) for s, (_, answer) in zip(stamps, anchors, strict=True) if answer]
    report = replace(report, remarks=(*report.remarks, *told))
    if authority is None or all(s.checked for s in stamps) or report.state is not SealState.INTACT:
        return report
    reason = next(stamp.trouble for stamp in stamps if not stamp.checked)
    return replace(report, state=SealState.NO_TIME_STAMP, reason=reason)


def _log_trouble(bundle: Bundle, signer: str) -> str:
    """Return why a proof's word on the shop's log does not hold; empty when it does."""
    noted = None if bundle.making is None else bundle.making.noted
    if noted is None:
        return ""
    return trouble(noted, [_signature(one) for one in bundle.recordings], signer)


def _signature(one: Attached) -> Signature | None:
    try:
        return read_signature(one.signature or b"")
    except SignatureError:
        return None


def _name(seal: PdfSeal, bundle: Bundle) -> str:
    return bundle.making.key_name if seal.signed_by and bundle.making is not None else ""


def _told(later: Later) -> tuple[str, ...]:
    """Return what the page has from its maker alone."""
    lines = []
    if later.fluid is not None:
        lines.append("amounts of fluid")
    for name, section in (("shop", later.shop), ("work", later.work)):
        if section is not None:
            lines.append(f"{name}: {', '.join(section_to_mapping(section))}")
    return tuple(lines)
