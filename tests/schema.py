"""MusicXML 4.0 schema validation for the tests, with the XSD of the ``musicxml`` package."""

from __future__ import annotations

import importlib.util
from functools import cache
from pathlib import Path

import pytest
from lxml import etree

_XLINK = b"""<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema"
    targetNamespace="http://www.w3.org/1999/xlink">
  <xs:attribute name="href" type="xs:anyURI"/>
  <xs:attribute name="type" type="xs:string"/>
  <xs:attribute name="role" type="xs:token"/>
  <xs:attribute name="title" type="xs:token"/>
  <xs:attribute name="show" type="xs:string"/>
  <xs:attribute name="actuate" type="xs:string"/>
</xs:schema>"""
_XML = b"""<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema"
    targetNamespace="http://www.w3.org/XML/1998/namespace">
  <xs:attribute name="lang" type="xs:language"/>
  <xs:attribute name="space" type="xs:string"/>
</xs:schema>"""


class _Stubs(etree.Resolver):
    """Small stand-ins for the two schemas the MusicXML one imports from the net."""

    def resolve(self, url, pubid, context):
        if url and url.endswith("xlink.xsd"):
            return self.resolve_string(_XLINK, context)
        if url and url.endswith("xml.xsd"):
            return self.resolve_string(_XML, context)
        return None


@cache
def _schema() -> etree.XMLSchema:
    # found without importing the package: its import takes seconds
    spec = importlib.util.find_spec("musicxml")
    if spec is None or spec.origin is None:
        pytest.skip("the musicxml package (dev extra) is not installed")
    path = Path(spec.origin).parent / "generate_classes" / "musicxml_4_0.xsd"
    parser = etree.XMLParser()
    parser.resolvers.add(_Stubs())
    return etree.XMLSchema(etree.parse(str(path), parser))


def validate(document: bytes) -> list[str]:
    """Return the complaints of the MusicXML 4.0 schema about a file; none if it is valid."""
    parser = etree.XMLParser(load_dtd=False, no_network=True, resolve_entities=False)
    schema = _schema()
    schema.validate(etree.fromstring(document, parser))
    return [f"line {e.line}: {e.message}" for e in schema.error_log]
