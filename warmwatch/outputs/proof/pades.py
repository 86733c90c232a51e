"""A PDF signature (PAdES, ETSI EN 319 142) behind the seal, for the signature panel of any reader.

It is appended, so that the sealed part stays as it is. Few readers know the kind of the shop key
(Ed25519), so it issues a certificate to a P-256 key that is made for this one file and then
forgotten. What shows that the shop signed is the issuer: its certificate holds the shop's key.
"""

import io
import logging
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from warmwatch.errors import InputError
from warmwatch.recording.seal.key import ShopKey
from warmwatch.recording.seal.signature import fingerprint

if TYPE_CHECKING:
    from cryptography import x509

FIELD = "Shop"
_TOUCHED = frozenset({"/Annots", "/Producer", "/ModDate", "/Version", "/Extensions", "/AcroForm"})
"""What a signature alone changes of the objects that were there: page, information, catalogue."""
_LASTS = timedelta(days=3653)
_EARLIER = timedelta(days=1)
"""Clocks differ: a certificate holds from a day before the moment of signing."""


def with_pdf_signature(sealed: bytes, key: ShopKey, moment: datetime) -> bytes:
    """Return the PDF with a signature appended; `moment` is when it is made, with its zone."""
    from asn1crypto.keys import PrivateKeyInfo
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
    from pyhanko.sign import fields, signers
    from pyhanko_certvalidator.registry import SimpleCertificateStore

    own = ec.generate_private_key(ec.SECP256R1())
    issuer, leaf = _certificates(key, own.public_key(), moment)
    private = own.private_bytes(Encoding.DER, PrivateFormat.PKCS8, NoEncryption())
    store: Any = SimpleCertificateStore()  # type: ignore[no-untyped-call]
    store.register(_asn1(issuer))
    signer = signers.SimpleSigner(
        signing_cert=_asn1(leaf), signing_key=PrivateKeyInfo.load(private), cert_registry=store
    )
    wanted = signers.PdfSignatureMetadata(
        field_name=FIELD,
        md_algorithm="sha256",
        subfilter=fields.SigSeedSubFilter.PADES,
        name=key.name,
    )
    writer = IncrementalPdfFileWriter(io.BytesIO(sealed))
    made = signers.PdfSigner(wanted, signer=signer).sign_pdf(writer).getvalue()
    assert made.startswith(sealed)
    return bytes(made)


def _certificates(
    key: ShopKey, public: Any, moment: datetime
) -> "tuple[x509.Certificate, x509.Certificate]":
    """Return the shop's own certificate, and the one it issues to a key for one file."""
    from cryptography import x509
    from cryptography.x509.oid import NameOID

    def name(text: str) -> x509.Name:
        return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text[:64])])

    def made(subject: x509.Name, public: Any, *, issues: bool) -> x509.Certificate:
        usage = x509.KeyUsage(
            digital_signature=not issues,
            content_commitment=not issues,
            key_encipherment=False,
            data_encipherment=False,
            key_agreement=False,
            key_cert_sign=issues,
            crl_sign=issues,
            encipher_only=False,
            decipher_only=False,
        )
        return (
            x509.CertificateBuilder()
            .subject_name(subject)
            .issuer_name(name(key.name))
            .public_key(public)
            .serial_number(x509.random_serial_number())
            .not_valid_before(moment - _EARLIER)
            .not_valid_after(moment + _LASTS)
            .add_extension(x509.BasicConstraints(ca=issues, path_length=None), critical=True)
            .add_extension(usage, critical=True)
            .sign(key.private, None)
        )

    issuer = made(name(key.name), key.private.public_key(), issues=True)
    return issuer, made(name(f"proof by {key.name}"), public, issues=False)


def _asn1(certificate: "x509.Certificate") -> Any:
    from asn1crypto.x509 import Certificate
    from cryptography.hazmat.primitives.serialization import Encoding

    return Certificate.load(certificate.public_bytes(Encoding.DER))


def signature_trouble(data: bytes, signer: str) -> str:
    """Return why what follows the sealed part is no good signature by that key; empty when it is.

    `signer` is the fingerprint of who signed the sealed part. Never raises for what is in it.
    """
    logging.getLogger("pyhanko").setLevel(logging.CRITICAL)
    try:
        reason = _trouble(data, signer)
    except Exception as error:  # the libraries raise many kinds for what is no sound signature
        reason = f"it cannot be read ({type(error).__name__})"
    return f"what follows the sealed PDF is no good signature: {reason}" if reason else ""


def _trouble(data: bytes, signer: str) -> str:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
    from pyhanko.pdf_utils.reader import PdfFileReader
    from pyhanko.sign.diff_analysis import NO_CHANGES_DIFF_POLICY
    from pyhanko.sign.validation import validate_pdf_signature
    from pyhanko.sign.validation.status import SignatureCoverageLevel
    from pyhanko_certvalidator import ValidationContext

    reader = PdfFileReader(io.BytesIO(data))
    found = reader.embedded_signatures
    if len(found) != 1:
        raise InputError("there is not exactly one")
    (embedded,) = found
    if not _leaves_the_page(reader):
        return "it changes what was sealed"
    (given,) = embedded.other_embedded_certs
    issuer = x509.load_der_x509_certificate(given.dump())
    leaf = x509.load_der_x509_certificate(embedded.signer_cert.dump())
    shop = issuer.public_key()
    if not isinstance(shop, Ed25519PublicKey) or fingerprint(shop.public_bytes_raw()) != signer:
        return "it is not by the key that sealed it"
    leaf.verify_directly_issued_by(issuer)
    trust = ValidationContext(
        trust_roots=[given],
        allow_fetching=False,
        moment=leaf.not_valid_before_utc + _EARLIER,
    )
    status = validate_pdf_signature(embedded, trust, diff_policy=NO_CHANGES_DIFF_POLICY)
    if status.coverage is not SignatureCoverageLevel.ENTIRE_FILE:
        return "it does not cover the whole file"
    return "" if status.intact and status.valid and status.trusted else "it does not hold"


def _leaves_the_page(reader: Any) -> bool:
    """Return whether the appended part adds a signature that is not seen, and nothing else."""
    if reader.xrefs.total_revisions != 2:
        return False
    before, after = (reader.xrefs.explicit_refs_in_revision(number) for number in (0, 1))
    for ref in before & after:
        old, new = reader.get_object(ref, revision=0), reader.get_object(ref)
        if new.get("/Type") == old.get("/Type") == "/Metadata":
            continue
        names = [*old, *(name for name in new if name not in old)]
        if any(_differs(old, new, name) and name not in _TOUCHED for name in names):
            return False
        notes = new["/Annots"] if _differs(old, new, "/Annots") else ()
        for note in (notes[number] for number in range(len(notes))):  # so that references follow
            if note.get("/FT") != "/Sig" or "/AP" in note or any(note.get("/Rect", ())):
                return False
    return True


def _differs(old: Any, new: Any, name: str) -> bool:
    if name not in old or name not in new:
        return name in old or name in new
    return bool(old.raw_get(name) != new.raw_get(name))
