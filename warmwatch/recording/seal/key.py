"""The shop key: an Ed25519 key in a PEM file (PKCS 8) that only its owner may read."""

import base64
import os
import stat
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from warmwatch.errors import RecordingError, UsageError
from warmwatch.recording.seal.clock import REFUSED_S, early_s
from warmwatch.recording.seal.lock import is_old_lock, locked_pem
from warmwatch.recording.seal.report import SealState
from warmwatch.recording.seal.signature import Signature, fingerprint, signature_path
from warmwatch.recording.seal.verify import file_sha256, verify_recording

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

MAX_KEY = 1 << 14
_MAKE = "make one with `warmwatch key make --name SHOP`"
_HEAD = "warmwatch shop key: "


class PassphraseNeeded(UsageError):
    """The key is locked by a passphrase, and none or a wrong one was given."""


class ShopKey:
    """A key that can sign; `name` is what stands in signatures beside it.

    `old_lock`: its pass phrase guards it in a way that is too cheap to try out today.
    """

    def __init__(self, private: "Ed25519PrivateKey", name: str, *, old_lock: bool = False) -> None:
        self._private = private
        self.name = name
        self.old_lock = old_lock

    @property
    def private(self) -> "Ed25519PrivateKey":
        """The private key, for what signs in another form."""
        return self._private

    @property
    def public(self) -> bytes:
        """The raw public key, 32 bytes."""
        return self._private.public_key().public_bytes_raw()

    @property
    def fingerprint(self) -> str:
        """The public key's fingerprint."""
        return fingerprint(self.public)

    def sign(self, message: bytes) -> bytes:
        """Return the Ed25519 signature, 64 bytes."""
        return self._private.sign(message)


def make_key(path: Path, name: str, passphrase: str = "") -> ShopKey:
    """Make a key file that is not there yet (mode 600) and return the key; UsageError if it is.

    The name goes into the file's first line, as a comment of the PEM format.
    """
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    private, name = Ed25519PrivateKey.generate(), _one_line(name)
    text = _key_text(private, name, passphrase)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _write_new(path, text)
    except FileExistsError:
        raise UsageError(f"{path} is there already: it is not overwritten.") from None
    except OSError as error:
        raise _not_written(path, error) from None
    return ShopKey(private, name)


def relock_key(path: Path, passphrase: str, new: str) -> ShopKey:
    """Lock a key by a new pass phrase; the key itself stays the same. UsageError as in load_key.

    The file is exchanged in one step, so that there is always a whole one.
    """
    key = load_key(path, passphrase)
    beside = path.with_name(f".{path.name}.new")
    try:
        beside.unlink(missing_ok=True)
        _write_new(beside, _key_text(key.private, key.name or "shop", new))
        beside.replace(path)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise _not_written(path, error) from None
    return ShopKey(key.private, key.name)


def _key_text(private: "Ed25519PrivateKey", name: str, passphrase: str) -> bytes:
    from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

    secret = passphrase.encode("utf-8", "surrogateescape")
    if secret:
        pem = locked_pem(private, secret)
    else:
        pem = private.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    return f"{_HEAD}{name}\n".encode() + pem


def _write_new(path: Path, text: bytes) -> None:
    """Write a file that is not there yet and that only its owner may read."""
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(text)
            file.flush()
            os.fsync(handle)
    except OSError:
        path.unlink(missing_ok=True)  # half a key would stand in the way of a whole one
        raise


def _one_line(name: str) -> str:
    """Return the name as it can stand in the key file's first line; UsageError when it cannot."""
    name = " ".join(name.encode("utf-8", "replace").decode("utf-8").split())[:80].strip()
    if not name:
        raise UsageError("The name of the shop is empty: it stands beside each signature.")
    return name


def _not_written(path: Path, error: OSError) -> UsageError:
    return UsageError(f"The key {path} cannot be written ({error.strerror or error}).")


def load_key(path: Path, passphrase: str = "") -> ShopKey:
    """Return the key of a file; UsageError when it is no key or open to all."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    data = _key_bytes(path)
    head, _, rest = data.partition(b"\n")
    pem = rest if head.startswith(_HEAD.encode()) else data
    locked = b"ENCRYPTED" in pem
    secret = passphrase.encode("utf-8", "surrogateescape") if locked else b""
    try:
        private = load_pem_private_key(pem, secret or None)
    except TypeError:
        raise PassphraseNeeded(f"The key {path} is locked: its passphrase is needed.") from None
    except ValueError:
        if locked and passphrase:
            raise PassphraseNeeded(f"That is not the passphrase of the key {path}.") from None
        raise UsageError(f"{path} is not a shop key: {_MAKE}.") from None
    if not isinstance(private, Ed25519PrivateKey):
        raise UsageError(f"{path} holds another kind of key than Ed25519.")
    name = head.decode("utf-8", "replace").removeprefix(_HEAD).strip() if pem is rest else ""
    return ShopKey(private, name, old_lock=is_old_lock(pem))


def _key_bytes(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            mode = stat.S_IMODE(os.fstat(file.fileno()).st_mode)
            data = file.read(MAX_KEY)
    except FileNotFoundError:
        raise UsageError(f"There is no key {path}: {_MAKE}.") from None
    except OSError as error:
        raise UsageError(f"The key {path} cannot be read ({error.strerror or error}).") from None
    if sys.platform != "win32" and mode & 0o077:
        raise UsageError(f"Others can read the key {path}: take their rights away (chmod 600).")
    return data


def public_pem(key: ShopKey) -> str:
    """Return the public part, as PEM, to be given to whoever is to check signatures."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

    public = Ed25519PublicKey.from_public_bytes(key.public)
    return public.public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo).decode("ascii")


def public_fingerprint(path: Path) -> str:
    """Return the fingerprint of a public key file (PEM); UsageError when it is none."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
    from cryptography.hazmat.primitives.serialization import load_pem_public_key

    try:
        with path.open("rb") as file:
            public = load_pem_public_key(file.read(MAX_KEY))
    except (OSError, ValueError):
        raise UsageError(f"{path} is not a public key: give what `key public` wrote.") from None
    if not isinstance(public, Ed25519PublicKey):
        raise UsageError(f"{path} holds another kind of key than Ed25519.")
    return fingerprint(public.public_bytes_raw())


def sign_recording(path: Path, key: ShopKey, time: str) -> Path:
    """Sign a closed, intact recording and return the signature's path.

    RecordingError when it is not intact: what was changed or torn is not signed. A signature by
    this key stays as it is, with its time; one by another key is not replaced.
    """
    report = verify_recording(path)
    if report.state is not SealState.INTACT:
        raise RecordingError(f"Not signed: {path.name} is {report.state} ({report.reason}).")
    target = signature_path(path)
    if report.signed_by == key.fingerprint:
        return target
    if report.signed_by:
        raise RecordingError(
            f"{path.name} is signed by another key already, {report.signed_by}: its signature "
            f"stays as it is. Move {target.name} away to sign again."
        )
    if early_s(report.ended_s, time) > REFUSED_S:
        raise RecordingError(
            f"Not signed: {path.name} ended later than this computer's clock says it is ({time}). "
            "Set the clock first."
        )
    unsigned = Signature(
        recording=path.name,
        digest=report.digest,
        sha256=file_sha256(path),
        key=base64.b64encode(key.public).decode("ascii"),
        key_name=key.name,
        time=time,
    )
    sealed = base64.b64encode(key.sign(unsigned.message)).decode("ascii")
    text = replace(unsigned, signature=sealed).text()
    try:
        target.write_text(text, encoding="ascii", newline="\n")
    except OSError as error:
        target.unlink(missing_ok=True)  # half a signature would make the recording look changed
        why = error.strerror or error
        raise RecordingError(f"The signature {target} cannot be written ({why}).") from None
    return target
