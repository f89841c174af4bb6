"""Findings as W3C Web Annotations (Recommendation of 23 February 2017): JSON-LD any such viewer reads."""

import uuid
from collections.abc import Sequence
from typing import Any
from xml.etree import ElementTree

import numpy as np

from setstone import __version__
from setstone.annotate.lettering import plain
from setstone.annotate.package.regions import Found
from setstone.annotate.texts import Texts
from setstone.annotate.wording import size_words
from setstone.record.entries import PhotographEntry

CONTEXT = "http://www.w3.org/ns/anno.jsonld"
MEDIA_FRAGMENTS = "http://www.w3.org/TR/media-frags/"
_SVG = "http://www.w3.org/2000/svg"
MEDIA_TYPES = {"JPEG": "image/jpeg", "PNG": "image/png"}


def annotation_page(
    photograph: PhotographEntry, source: str, found: Sequence[Found], texts: Texts
) -> dict[str, Any]:
    """Describe the findings on one photograph.

    Parameters
    ----------
    photograph : PhotographEntry
    source : str
        Address of the photograph, relative to the file this is written to.
    found : sequence of Found
    texts : Texts

    Returns
    -------
    dict
        An ``AnnotationPage``; each finding has an SvgSelector and, as the coarser choice, the
        rectangle around it as a FragmentSelector.
    """
    media_type = MEDIA_TYPES.get(photograph.format, "image/tiff")
    return {
        "@context": CONTEXT,
        "id": f"urn:uuid:{uuid.uuid5(uuid.NAMESPACE_URL, photograph.sha256)}",
        "type": "AnnotationPage",
        "startIndex": 0,
        "items": [_annotation(photograph, source, media_type, one, texts) for one in found],
    }


def _annotation(
    photograph: PhotographEntry, source: str, media_type: str, found: Found, texts: Texts
) -> dict[str, Any]:
    entry, decision = found.entry, found.entry.decision
    sizes = "; ".join(size_words(entry.candidate, texts))
    told = [
        ("classifying", found.kind),
        ("describing", sizes),
        ("commenting", decision.reason if decision else ""),
    ]
    described: dict[str, Any] = {
        "id": f"urn:uuid:{uuid.uuid5(uuid.NAMESPACE_URL, f'{photograph.sha256}#{entry.number}')}",
        "type": "Annotation",
        "motivation": "classifying",
        "body": [
            {
                "type": "TextualBody",
                "purpose": purpose,
                "value": plain(text, lines=True),
                "format": "text/plain",
                "language": texts("language"),
            }
            for purpose, text in (("identifying", str(entry.number)), *told)
            if text
        ],
        "target": {
            "source": {"id": source, "type": "Image", "format": media_type},
            "selector": [_svg_selector(found, photograph), _fragment_selector(found, photograph)],
        },
        "generator": {
            "id": "urn:setstone",
            "type": "Software",
            "name": f"setstone {__version__}",
        },
    }
    if decision is not None:
        described["created"] = decision.at.strftime("%Y-%m-%dT%H:%M:%SZ")
        if decision.by:
            described["creator"] = {"type": "Person", "name": plain(decision.by)}
    return described


def _svg_selector(found: Found, photograph: PhotographEntry) -> dict[str, str]:
    root = ElementTree.Element(
        "svg", {"xmlns": _SVG, "viewBox": f"0 0 {photograph.width} {photograph.height}"}
    )
    pairs = " ".join(f"{x:.2f},{y:.2f}" for x, y in found.points)
    ElementTree.SubElement(root, "polygon" if found.closed else "polyline", points=pairs, fill="none")
    return {"type": "SvgSelector", "value": ElementTree.tostring(root, encoding="unicode")}


def _fragment_selector(found: Found, photograph: PhotographEntry) -> dict[str, str]:
    size = np.array([photograph.width, photograph.height])
    low = np.clip(np.floor(found.points.min(axis=0)), 0, size - 1).astype(int)
    high = np.clip(np.ceil(found.points.max(axis=0)), low + 1, size).astype(int)
    rectangle = ",".join(map(str, (*low, *(high - low))))
    return {
        "type": "FragmentSelector",
        "conformsTo": MEDIA_FRAGMENTS,
        "value": f"xywh=pixel:{rectangle}",
    }
