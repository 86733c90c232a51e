"""A few of the changes of docs/verify.md: what must be found, and what only the key shows."""

import pytest

from tests.trust.tampering import KINDS, Evidence, Signer, found
from warmwatch.recording.seal.key import make_key

ONLY_WITH_THE_KEY = {
    "chain made again: another band in the sidecar",
    "chain made again: another vehicle's name",
}
"""Who knows the format can write a whole new recording: nothing in it contradicts these."""
SOMETIMES = {"chain made again: a mark taken out"}
"""It is found where an event hangs on the mark."""


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[Evidence, str]:
    folder = tmp_path_factory.mktemp("signed")
    signer = Signer(folder, make_key(folder / "key.pem", "Invented workshop"))
    return signer.evidence(48), signer.key.fingerprint


@pytest.mark.parametrize("kind", KINDS)
def test_every_change_is_found_with_the_key(kind: str, whole: tuple[Evidence, str]) -> None:
    """And without it all but those that nothing in the recording contradicts."""
    tried, without, by_key = found(kind, 6, *whole)
    assert tried
    assert by_key == tried
    if kind not in ONLY_WITH_THE_KEY | SOMETIMES and not kind.startswith("signature"):
        assert without == tried
