"""The metadata packet of a certificate, which says what the file is and to which rules it was built."""

from dataclasses import dataclass
from datetime import datetime
from xml.sax.saxutils import escape

AUTHOR = "station"
PART, LEVEL = 3, "B"        # of PDF/A: attachments are allowed, text is real, tags are not promised

# A description for each schema: checkers refuse namespaces declared on the properties.
# Source: ISO 16684-1 (XMP), ISO 19005-3 (PDF/A-3) for pdfaid; both from memory.
_PACKET = """\
<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/">
<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/">
<dc:format>application/pdf</dc:format>
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">{title}</rdf:li></rdf:Alt></dc:title>
<dc:creator><rdf:Seq><rdf:li>{author}</rdf:li></rdf:Seq></dc:creator>
<dc:description><rdf:Alt><rdf:li xml:lang="x-default">{subject}</rdf:li></rdf:Alt></dc:description>
</rdf:Description>
<rdf:Description rdf:about="" xmlns:xmp="http://ns.adobe.com/xap/1.0/">
<xmp:CreateDate>{moment}</xmp:CreateDate>
<xmp:ModifyDate>{moment}</xmp:ModifyDate>
<xmp:CreatorTool>{author}</xmp:CreatorTool>
</rdf:Description>
<rdf:Description rdf:about="" xmlns:pdf="http://ns.adobe.com/pdf/1.3/">
<pdf:Producer>{producer}</pdf:Producer>
</rdf:Description>
<rdf:Description rdf:about="" xmlns:pdfaid="http://www.aiim.org/pdfa/ns/id/">
<pdfaid:part>{part}</pdfaid:part>
<pdfaid:conformance>{level}</pdfaid:conformance>
</rdf:Description>
</rdf:RDF>
</x:xmpmeta>
<?xpacket end="r"?>"""


@dataclass(frozen=True, slots=True)
class Title:
    """What a file says of itself; `moment` is the end of the test, so that the same record gives the same file."""

    title: str
    subject: str
    producer: str
    moment: datetime

    @property
    def xmp_date(self) -> str:
        """The moment as XMP writes it, UTC."""
        return self.moment.strftime("%Y-%m-%dT%H:%M:%S+00:00")

    @property
    def pdf_date(self) -> str:
        """The moment as PDF writes it, UTC. Source: ISO 32000-1, 7.9.4, from memory."""
        return self.moment.strftime("D:%Y%m%d%H%M%S+00'00'")


def xmp_packet(title: Title) -> bytes:
    """Return the packet of a file of this title."""
    words = {"title": title.title, "subject": title.subject, "producer": title.producer, "author": AUTHOR,
             "moment": title.xmp_date, "part": str(PART), "level": LEVEL}
    return _PACKET.format(**{key: escape(text) for key, text in words.items()}).encode()
