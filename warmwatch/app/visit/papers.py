"""What becomes of a watch that has ended: its verdict, and the proof made of it.

Both are made from the recording, by the same functions as `warmwatch proof`, on a thread of their
own: the page stays alive meanwhile.
"""

import contextlib
import threading
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path

from warmwatch.app.signing import Seal, gather_signed
from warmwatch.core.level.conditions import ConditionState
from warmwatch.errors import WarmwatchError
from warmwatch.words.catalogue import phrase

_NONE: dict[str, object] = {"state": "none", "text": "", "url": "", "name": ""}


class Papers:
    """The verdict and the proof of a visit's recordings, oldest first; none if nothing was kept.

    `offer` takes a proof's bytes and returns the path by which this run's pages may fetch it. With
    a `seal` the proof and its recordings are signed.
    """

    def __init__(
        self,
        recordings: Sequence[Path],
        paper: str,
        offer: Callable[[bytes], str],
        seal: Seal | None = None,
    ) -> None:
        self.recordings = tuple(recordings)
        self._seal = seal
        self._paper, self._offer = paper, offer
        self._verdict: dict[str, object] = {"sign": "?", "text": phrase("visit.looking")}
        self._lines: list[str] = []
        self._open: list[str] = []
        self._proof = dict(_NONE)
        if recordings:
            self._apart(self._look)
        else:
            self._verdict = {"sign": "?", "text": phrase("visit.not-recorded")}

    def message(self) -> dict[str, object]:
        """Return what the page shows at the end."""
        about = {"verdict": self._verdict, "lines": self._lines, "open": self._open}
        return {**about, "proof": self._proof, "recorded": bool(self.recordings)}

    def make(self) -> None:
        """Make the proof, once at a time."""
        if not self.recordings or self._proof["state"] == "making":
            return
        self._proof = {**_NONE, "state": "making", "text": phrase("visit.making")}
        self._apart(self._make)

    def _apart(self, act: Callable[[], None]) -> None:
        threading.Thread(target=act, name="papers", daemon=True).start()

    def _look(self) -> None:
        from warmwatch.outputs.proof.page import SYMBOLS, proof_page
        from warmwatch.outputs.proof.visit import gather

        try:
            shown = proof_page(gather(*self.recordings))
        except (WarmwatchError, OSError, ValueError) as error:
            self._verdict = {"sign": "?", "text": phrase("visit.cannot-judge", why=str(error))}
            return
        self._lines = [*shown["balance"]]
        rows = [[str(cell) for cell in row] for row in shown["conditions"]]
        unmet = [
            phrase(f"visit.unmet{'-why' if why else ''}", condition=name, state=state, why=why)
            for sign, name, state, why in rows
            if sign != SYMBOLS[ConditionState.MET]
        ]
        self._open = [] if shown["sign"] == "✔" else [*shown["remarks"], *unmet]
        self._verdict = {"sign": shown["sign"], "text": shown["verdict"]}

    def _make(self) -> None:
        from warmwatch.outputs.proof.document import make_proof

        try:
            now = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
            visit, noted = gather_signed(self.recordings, self._seal, now)
            key = None if self._seal is None else self._seal.key
            made = make_proof(visit, paper=self._paper, key=key, time=now, noted=noted)
        except (WarmwatchError, OSError, ValueError, RuntimeError) as error:
            self._proof = {
                **_NONE,
                "state": "failed",
                "text": phrase("visit.no-proof", why=str(error)),
            }
            return
        signed = phrase("visit.unsigned" if self._seal is None else "visit.signed")
        kept = f"{keep(self.recordings, made)} {signed}"
        name = f"{self.recordings[-1].stem}.pdf"
        self._proof = {"state": "ready", "text": kept, "url": self._offer(made), "name": name}


def keep(recordings: Sequence[Path], made: bytes) -> str:
    """Write the proof beside the last recording and say so. What fails is told."""
    from warmwatch.outputs.proof.reading import is_proof_of

    target = recordings[-1].with_suffix(".pdf")
    part = target.with_name(f".{target.name}.part")
    try:
        if target.exists() and not is_proof_of(target, {each.name for each in recordings}):
            return phrase("visit.other-file", file=target.name)
        part.write_bytes(made)
        part.replace(target)
    except OSError as error:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        return phrase("visit.not-kept", why=str(error.strerror or error))
    return phrase("visit.kept", file=target.name)
