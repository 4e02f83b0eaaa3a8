"""Turns bare pages into a file for the archive: colours defined, metadata, attached files.

The only file to import pikepdf.

Built to PDF/A-3b (ISO 19005-3, from memory). What it shares with part 1 is checked in the tests by a validator;
the rest is not, so no more than "built to" is claimed.
"""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files
from io import BytesIO

import pikepdf
from pikepdf import Array, Dictionary, Name, Pdf, Stream, String

from station.certificate.xmp import AUTHOR, Title, xmp_packet

PROFILE = "sRGB.icc"
_CONDITION = "sRGB IEC61966-2.1"


@dataclass(frozen=True, slots=True)
class Attachment:
    """A file inside the certificate: the data that its pages show, for programs."""

    name: str
    kind: str           # MIME type
    description: str
    content: bytes


def archival_form(pages: bytes, title: Title, attachments: Sequence[Attachment]) -> bytes:
    """Return `pages`, a PDF, as a file for the archive; the same arguments give the same bytes."""
    with Pdf.open(BytesIO(pages)) as pdf:
        _describe(pdf, title)
        _define_colours(pdf)
        _attach(pdf, title, attachments)
        out = BytesIO()
        # Objects stand one by one, as every part of PDF/A can read them.
        pdf.save(out, force_version="1.7", deterministic_id=True, linearize=False,
                 object_stream_mode=pikepdf.ObjectStreamMode.disable, fix_metadata_version=False)
        return out.getvalue()


def profile() -> bytes:
    """Return the colour profile that certificates carry."""
    return files("station.certificate").joinpath("colour", PROFILE).read_bytes()


def writer_versions() -> dict[str, str]:
    """Return the versions of what writes the file here."""
    return {"pikepdf": pikepdf.__version__, "qpdf": pikepdf.__libqpdf_version__}


def _describe(pdf: Pdf, title: Title) -> None:
    pdf.trailer.Info = pdf.make_indirect(Dictionary(
        Title=String(title.title), Author=String(AUTHOR), Subject=String(title.subject), Creator=String(AUTHOR),
        Producer=String(title.producer), CreationDate=String(title.pdf_date), ModDate=String(title.pdf_date)))
    root = pdf.Root
    root.Metadata = Stream(pdf, xmp_packet(title), Type=Name.Metadata, Subtype=Name.XML)
    root.ViewerPreferences = Dictionary(DisplayDocTitle=True)


def _define_colours(pdf: Pdf) -> None:
    intent = Dictionary(Type=Name.OutputIntent, S=Name.GTS_PDFA1, OutputConditionIdentifier=String(_CONDITION),
                        Info=String(_CONDITION), DestOutputProfile=Stream(pdf, profile(), N=3))
    pdf.Root.OutputIntents = Array([pdf.make_indirect(intent)])


def _attach(pdf: Pdf, title: Title, attachments: Sequence[Attachment]) -> None:
    """Put files into the document as associated with it. Source: ISO 32000-2, 14.13, and ISO 19005-3, from memory."""
    places = [pdf.make_indirect(_file(pdf, title, attachment)) for attachment in attachments]
    pdf.Root.AF = Array(places)
    named = [part for attachment, place in sorted(zip(attachments, places, strict=True), key=lambda pair: pair[0].name)
             for part in (String(attachment.name), place)]
    pdf.Root.Names = Dictionary(EmbeddedFiles=Dictionary(Names=Array(named)))


def _file(pdf: Pdf, title: Title, attachment: Attachment) -> Dictionary:
    digest = hashlib.md5(attachment.content, usedforsecurity=False).digest()    # what the format asks for
    stream = Stream(pdf, attachment.content, Type=Name.EmbeddedFile, Subtype=Name("/" + attachment.kind),
                    Params=Dictionary(Size=len(attachment.content), ModDate=String(title.pdf_date),
                                      CheckSum=String(digest)))
    return Dictionary(Type=Name.Filespec, F=String(attachment.name), UF=String(attachment.name),
                      Desc=String(attachment.description), AFRelationship=Name.Data,
                      EF=Dictionary(F=stream, UF=stream))
