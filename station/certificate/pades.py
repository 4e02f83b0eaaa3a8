"""The signature inside a PDF: PAdES baseline B-B by ECDSA on P-256 over SHA-256; the only file to import pyHanko.

The chain of certificates is in the signature, the time of signing in its dictionary; its field has no size, so that
nothing is drawn that the record does not say. Source: ETSI EN 319 142-1 and ISO 32000-1, 12.8, both from memory.
"""

import asyncio
from datetime import datetime
from io import BytesIO

from asn1crypto.x509 import Certificate
from cryptography.hazmat.primitives.asymmetric.ec import ECDSA, EllipticCurvePrivateKey
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.misc import PdfError
from pyhanko.sign.fields import SigFieldSpec, SigSeedSubFilter
from pyhanko.sign.general import SigningError
from pyhanko.sign.signers.cms_embedder import PdfCMSEmbedder, SigIOSetup, SigObjSetup
from pyhanko.sign.signers.constants import ESIC_EXTENSION_1
from pyhanko.sign.signers.pdf_byterange import SignatureObject
from pyhanko.sign.signers.pdf_cms import Signer
from pyhanko_certvalidator.registry import SimpleCertificateStore

from station.certificate.key_folder import StationKey
from station.errors import EvidenceError

FIELD = "StationSignature"
_DIGEST = "sha256"
_ROOM = 2048        # bytes of a signature beside its certificates; some 700 are used


def add_signature(unsigned: bytes, key: StationKey, moment: datetime) -> bytes:
    """Return `unsigned` with a signature behind it that is dated `moment`.

    Raises
    ------
    EvidenceError
        It is no PDF, or is signed already.
    """
    try:
        return _sign(_Revision(BytesIO(unsigned)), key, moment)
    except (PdfError, SigningError) as error:
        raise EvidenceError("file cannot be signed", where="certificate", expected="a PDF without signature",
                            got=str(error), remedy="Report this as a defect.") from error


def _sign(writer: IncrementalPdfFileWriter, key: StationKey, moment: datetime) -> bytes:
    writer.register_extension(ESIC_EXTENSION_1)     # what a reader of PDF 1.7 must know of besides
    signer = _StationSigner(key)
    embedder = PdfCMSEmbedder(SigFieldSpec(FIELD)).write_cms(FIELD, writer)
    next(embedder)
    room = 2 * (_ROOM + sum(len(c.public_bytes(Encoding.DER)) for c in key.chain))      # in hexadecimal digits
    embedder.send(SigObjSetup(SignatureObject(moment, SigSeedSubFilter.PADES, bytes_reserved=room)))
    prepared, output = embedder.send(SigIOSetup(_DIGEST))
    embedder.send(asyncio.run(signer.async_sign(prepared.document_digest, _DIGEST, use_pades=True)))
    return bytes(output.getvalue())


class _Revision(IncrementalPdfFileWriter):
    """What is written behind the unsigned file: the signature and nothing else.

    Titles and dates stay those of the test. The method is one of the library's insides; the test beside this
    file fails when the library calls it no more.
    """

    def _update_meta(self) -> None:
        pass


class _StationSigner(Signer):
    """Makes the signature proper with a key that is parsed already."""

    def __init__(self, key: StationKey) -> None:
        own, *issuers = (Certificate.load(c.public_bytes(Encoding.DER)) for c in key.chain)
        known = SimpleCertificateStore()
        known.register_multiple(issuers)
        super().__init__(signing_cert=own, cert_registry=known, embed_roots=True)
        self._key: EllipticCurvePrivateKey = key.private

    async def async_sign_raw(self, data: bytes, digest_algorithm: str, dry_run: bool = False) -> bytes:  # noqa: ARG002 - the library's
        return self._key.sign(data, ECDSA(SHA256()))
