"""The evidence package: what lies in it, whom it names, and what its check says once somebody was at it.

Outside checks: BagIt by bagit-python (Library of Congress; test_bags.py has the cases of RFC 8493), signatures by the vectors of RFC 8032 (7.1) and by OpenSSL, findings by the
Web Annotation data model and protocol of the W3C and read as JSON-LD by PyLD, readings by JSON Schema 2020-12, OME-TIFF by ome-types.
"""

import hashlib
import io
import json
import re
import shutil
import subprocess
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from xml.etree import ElementTree

import bagit
import cv2
import jsonschema
import numpy as np
import pypdf
import pytest
import tifffile
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from setstone.annotate.errors import AnnotateError
from setstone.annotate.handout import gather
from setstone.annotate.package.bag import close_bag, read_manifest
from setstone.annotate.package.checking import Checked, check_package
from setstone.annotate.package.contents import Contents, contents_html, contents_of
from setstone.annotate.package.copies import stripped
from setstone.annotate.package.key import WorkshopKey, change_passphrase, is_signed, workshop_key
from setstone.annotate.package.layout import HANDOUT, SIGNATURE
from setstone.annotate.package.noted import noted
from setstone.annotate.package.opening import MOST_FILES, copied_out, shown
from setstone.annotate.package.statement import comparison_statement
from setstone.annotate.package.writing import Leaving, write_package
from setstone.annotate.seal import Seal, grouped
from setstone.annotate.sheet_compare import ComparisonSheet
from setstone.annotate.texts import english
from setstone.annotate.two_days import Mark
from setstone.capture.open import open_photograph
from setstone.capture.photograph import Format, Lamp
from setstone.measure.changes import Where
from setstone.measure.glue import GlueChange, Rim
from setstone.measure.quantity import Quantity
from setstone.record.book import Book
from setstone.record.entries import StoneEntry
from setstone.record.gluing import WorkShown
from setstone.record.vocabulary import FindingKind, Verdict, WorkKind

SERIAL, PLACE, PERSON = "SN-40417", (52.0, 31.0, 12.0), "Bea Sample"
HOSTILE = "<script>alert(1)<img src=x onerror=1>\"'; {{ 7*7 }}"


def noted_jpeg(pixels: Any, orientation: int = 1) -> bytes:
    """A JPEG as a camera writes it: serial number, place and owner beside the pixels, and a second picture behind."""
    exif = Image.Exif()
    exif[274] = orientation
    exif[315] = PERSON
    exif.get_ifd(0x8769)[42033] = SERIAL
    exif.get_ifd(0x8825).update({1: "N", 2: PLACE})
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, "JPEG", quality=92, exif=exif, comment=PERSON.encode())
    return file.getvalue() + SERIAL.encode()


def noted_png(pixels: Any) -> bytes:
    notes = PngInfo()
    notes.add_text("Author", PERSON)
    notes.add_itxt("Comment", SERIAL)
    exif = Image.Exif()
    exif[315] = PERSON
    exif[274] = 6
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, "PNG", pnginfo=notes, exif=exif)
    return file.getvalue()


def noise(height: int = 200, width: int = 300) -> Any:
    return np.random.default_rng(5).integers(0, 255, (height, width, 3), np.uint8)


@pytest.fixture(scope="module")
def key(tmp_path_factory: pytest.TempPathFactory) -> WorkshopKey:
    return workshop_key(tmp_path_factory.mktemp("key") / "workshop-key.pem")


def fill(book: Book, make: SimpleNamespace, folder: Path, words: str = "") -> StoneEntry:
    """A stone with a JPEG, a PNG and what a camera notes in both; and with an occasion as 16-bit TIFF."""
    stone = book.add_stone(
        book.add_object(words or "Presentation snuff box"), words or "lid-3", claimed_as=words
    )
    (folder / "object.jpg").write_bytes(noted_jpeg(noise(120, 160)))
    book.picture_object(book.objects()[-1], folder / "object.jpg", by=PERSON)
    book.place_stone(stone, (0.25, 0.5), by=PERSON)
    (folder / "white.jpg").write_bytes(noted_jpeg(noise()))
    (folder / "blue.png").write_bytes(noted_png(noise(300, 200)))
    tifffile.imwrite(
        folder / "after.tif", noise().astype(np.uint16) * 257, photometric="rgb", description=SERIAL
    )
    by = PERSON
    for occasion, names in (("before", ("white.jpg", "blue.png")), ("after", ("after.tif",))):
        white, *blue = (
            book.add_photograph(stone, folder / name, lamp=lamp, occasion=occasion, by=by)[0].sha256
            for name, lamp in zip(names, (Lamp.WHITE, Lamp.BLUE), strict=False)
        )
        numbered = tuple(
            SimpleNamespace(candidate=c)
            for c in (
                make.candidate([(100, 90), (150, 100), (200, 120)], lamp="white", score=0.93),
                make.candidate([(120, 60), (126, 60), (126, 66), (120, 66)], "spot", "white", 0.55),
            )
        )
        result = make.examination(
            numbered, outline=make.ellipse(150, 100, 110, 80), blue_to_white=np.eye(3),
            lamps="white blue" if blue else "white",
        ).result  # fmt: skip
        entry = book.save_examination(
            stone, result, occasion=occasion, white=white, blue=blue[0] if blue else None, by=by
        )
        book.decide(entry, 1, Verdict.ACCEPTED, kind=FindingKind.FISSURE, by=by)
        book.decide(entry, 2, Verdict.ACCEPTED, kind=FindingKind.CRYSTAL, by=by)
    book.add_reading(
        stone, test="refractometer", value="1.762-1.770", uncertainty="0.002", instrument="R-2", by=by
    )
    book.add_work(
        stone, WorkKind.UNSET, solvent="ethanol on a swab", done=datetime(2026, 1, 2, tzinfo=UTC), by=by
    )
    book.add_remark(stone, words or "Old adhesive removed.", by=by)
    return stone


@pytest.fixture(scope="module")
def workshop(make: SimpleNamespace, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Book]:
    folder = tmp_path_factory.mktemp("workshop")
    with Book.create(folder / "book", workshop="Workshop on the Quay") as book:
        fill(book, make, folder)
        yield book


@pytest.fixture(scope="module")
def written(workshop: Book, key: WorkshopKey, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_package(workshop, workshop.stones(), tmp_path_factory.mktemp("package") / "snuff-box", key)


@pytest.fixture
def package(written: Path, tmp_path: Path) -> Path:
    """A copy to be altered."""
    return shutil.copytree(written, tmp_path / "snuff-box")


def codes(checked: Checked) -> list[str]:
    return [problem.code for problem in checked.problems]


def zipped(folder: Path) -> Path:
    return Path(shutil.make_archive(str(folder), "zip", folder.parent, folder.name))


def sign_again(package: Path, key: WorkshopKey, **information: str) -> None:
    """Make the lists anew and sign them, as somebody with a key can."""
    said = dict(line.split(": ", 1) for line in (package / "bag-info.txt").read_text().splitlines())
    for name in package.glob("*manifest-*"):
        name.unlink()
    said |= {name.replace("_", "-"): value for name, value in information.items()}
    (package / SIGNATURE).write_bytes(key.sign(close_bag(package, said)))


# What lies in it


def test_bagit_python_finds_it_valid(written: Path) -> None:
    bag = bagit.Bag(str(written))
    assert bag.validate(processes=1)
    assert bag.info["Source-Organization"] == "Workshop on the Quay"
    assert {"sha256", "sha512"} <= set(bag.algorithms)


def test_everything_lies_in_it(written: Path) -> None:
    there = {path.relative_to(written).as_posix() for path in written.rglob("*") if path.is_file()}
    for name in ("lid-3-before-white", "lid-3-before-blue", "lid-3-after-white"):
        for file in (
            f"pictures/{name}.png",
            f"overlays/{name}.svg",
            f"findings/{name}.jsonld",
            f"ome-tiff/{name}.ome.tif",
        ):
            assert f"data/{file}" in there
    assert {
        "data/photographs/lid-3-before-white.jpg", "data/photographs/lid-3-before-blue.png",
        "data/readings.json", "data/readings.schema.json", "data/hand-out.html", "public-key.pem",
        "bagit.txt", "bag-info.txt", "manifest-sha256.txt", "manifest-sha512.txt",
        "tagmanifest-sha256.txt", "tagmanifest-sha512.txt", "tagmanifest-sha256.txt.sig",
    } <= there  # fmt: skip
    assert read_manifest((written / "manifest-sha256.txt").read_text()).keys() == {
        name for name in there if name.startswith("data/")
    }


def test_readings_fit_their_schema(written: Path) -> None:
    said = json.loads((written / "data/readings.json").read_text())
    schema = json.loads((written / "data/readings.schema.json").read_text())
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(said, schema, jsonschema.Draft202012Validator)
    whole = said["photograph"]
    assert whole["places"] == [{"stone": "lid-3", "x": 0.25, "y": 0.5}]
    content = (written / whole["file"]).read_bytes()
    assert hashlib.sha256(content).hexdigest() == whole["file_sha256"] != whole["original_sha256"]
    (stone,) = said["stones"]
    assert (stone["comparison"]["before"], stone["comparison"]["after"]) == ("before", "after")
    assert stone["comparison"]["not_compared_because"] is None  # the same picture
    assert stone["readings"][0]["value"] == "1.762-1.770"
    before = next(e for e in stone["examinations"] if e["occasion"] == "before")
    assert before["girdle"]["mean"]["unit"] == "mm"
    for photograph in before["photographs"]:
        content = (written / photograph["file"]).read_bytes()
        assert (
            hashlib.sha256(content).hexdigest() == photograph["file_sha256"] != photograph["original_sha256"]
        )
        assert not photograph["unaltered"]


def test_findings_are_web_annotations(written: Path) -> None:
    """Data model, 3.1, 3.2.4 and 4.2; vocabulary and context of the Recommendation of 23 February 2017."""
    file = written / "data/findings/lid-3-before-white.jsonld"
    page = json.loads(file.read_text())
    assert page["@context"] == "http://www.w3.org/ns/anno.jsonld"
    assert page["type"] == "AnnotationPage"
    motivations = {"classifying", "commenting", "describing", "identifying"}
    assert len(page["items"]) == 2
    for annotation in page["items"]:
        assert annotation["type"] == "Annotation"
        assert re.fullmatch(r"urn:uuid:[0-9a-f-]{36}", annotation["id"])
        assert {body["purpose"] for body in annotation["body"]} <= motivations
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", annotation["created"])
        target = annotation["target"]
        with Image.open(file.parent / target["source"]["id"]) as picture:
            size = picture.size
        svg, fragment = target["selector"]
        drawn = ElementTree.fromstring(svg["value"])  # noqa: S314 our own
        assert (svg["type"], drawn.tag) == ("SvgSelector", "{http://www.w3.org/2000/svg}svg")
        assert fragment["conformsTo"] == "http://www.w3.org/TR/media-frags/"
        # Media Fragments URI 1.0, 4.2.2
        found = re.fullmatch(r"xywh=pixel:(\d+),(\d+),(\d+),(\d+)", fragment["value"])
        assert found is not None
        x, y, width, height = map(int, found.groups())
        assert x + width <= size[0]
        assert y + height <= size[1]
        points = np.array([p.split(",") for p in drawn[0].attrib["points"].split()], float)
        assert (points >= (x, y)).all()
        assert (points <= (x + width, y + height)).all()
    # (100, 90) is the centre of a pixel; selectors count from its corner
    assert "100.50,90.50" in page["items"][0]["target"]["selector"][0]["value"]


#: The terms we use, as the context http://www.w3.org/ns/anno.jsonld defines them (Web Annotation Vocabulary,
#: Recommendation of 23 February 2017, appendix A); a reader drops what is none of them.
TERMS = {
    "oa": "http://www.w3.org/ns/oa#", "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
    "dc": "http://purl.org/dc/elements/1.1/", "dcterms": "http://purl.org/dc/terms/",
    "dctypes": "http://purl.org/dc/dcmitype/", "foaf": "http://xmlns.com/foaf/0.1/",
    "as": "http://www.w3.org/ns/activitystreams#", "xsd": "http://www.w3.org/2001/XMLSchema#",
    "id": {"@type": "@id", "@id": "@id"}, "type": {"@type": "@id", "@id": "@type"},
    "Annotation": "oa:Annotation", "AnnotationPage": "as:OrderedCollectionPage", "Image": "dctypes:StillImage",
    "TextualBody": "oa:TextualBody", "FragmentSelector": "oa:FragmentSelector", "SvgSelector": "oa:SvgSelector",
    "Person": "foaf:Person", "Software": "as:Application",
    "classifying": "oa:classifying", "commenting": "oa:commenting", "describing": "oa:describing",
    "identifying": "oa:identifying",
    "body": {"@type": "@id", "@id": "oa:hasBody"}, "target": {"@type": "@id", "@id": "oa:hasTarget"},
    "source": {"@type": "@id", "@id": "oa:hasSource"}, "selector": {"@type": "@id", "@id": "oa:hasSelector"},
    "creator": {"@type": "@id", "@id": "dcterms:creator"}, "generator": {"@type": "@id", "@id": "as:generator"},
    "motivation": {"@type": "@vocab", "@id": "oa:motivatedBy"},
    "purpose": {"@type": "@vocab", "@id": "oa:hasPurpose"},
    "conformsTo": {"@type": "@id", "@id": "dcterms:conformsTo"},
    "items": {"@type": "@id", "@id": "as:items", "@container": "@list"},
    "format": "dc:format", "language": "dc:language", "value": "rdf:value", "name": "foaf:name",
    "created": {"@id": "dcterms:created", "@type": "xsd:dateTime"},
    "startIndex": {"@id": "as:startIndex", "@type": "xsd:nonNegativeInteger"},
}  # fmt: skip


@pytest.mark.parametrize("names", [False, True])
def test_findings_are_linked_data(workshop: Book, key: WorkshopKey, tmp_path: Path, names: bool) -> None:
    """JSON-LD 1.1 by PyLD, a processor of the W3C's test suite; no network."""
    jsonld = pytest.importorskip("pyld.jsonld")
    package = write_package(workshop, workshop.stones(), tmp_path / "p", key, leaving=Leaving(names=names))
    page = json.loads((package / "data/findings/lid-3-before-white.jsonld").read_text())
    base = "file:///p/data/findings/lid-3-before-white.jsonld"
    asked = []

    def load(address: str, _: Any) -> dict[str, Any]:
        asked.append(address)
        return {"contextUrl": None, "documentUrl": address, "document": {"@context": TERMS}}

    options = {"base": base, "documentLoader": load}
    # Nothing is lost on the way through the terms of the standard.
    assert jsonld.compact(jsonld.expand(page, options), page["@context"], options) == page
    triples = jsonld.to_rdf(page, options)["@default"]
    assert set(asked) == {"http://www.w3.org/ns/anno.jsonld"}
    said = [(t["subject"]["value"], t["predicate"]["value"], t["object"]["value"]) for t in triples]

    def of(term: str) -> str:
        prefix, name = term.split(":")
        return f"{TERMS[prefix]}{name}"

    kinds = {subject: kind for subject, what, kind in said if what == of("rdf:type")}
    values = {subject: value for subject, what, value in said if what == of("rdf:value")}
    assert sum(kind == of("oa:Annotation") for kind in kinds.values()) == 2
    for kind, begins in (("oa:SvgSelector", "<svg "), ("oa:FragmentSelector", "xywh=pixel:")):
        found = [subject for subject in kinds if kinds[subject] == of(kind)]
        assert len(found) == 2
        assert all(values[subject].startswith(begins) for subject in found)
        assert {s for _, what, s in said if what == of("oa:hasSelector")} >= {*found}
    sources = {value for _, what, value in said if what == of("oa:hasSource")}
    assert sources == {"file:///p/data/photographs/lid-3-before-white.jpg"}
    assert {value for _, what, value in said if what == of("foaf:name") and value == PERSON} == (
        {PERSON} if names else set()
    )


def test_what_differs_between_two_days_fits_the_schema(make: SimpleNamespace, written: Path) -> None:
    changed = [
        SimpleNamespace(
            change=SimpleNamespace(where=where, possible_damage=where is Where.AFTER),
            entry=SimpleNamespace(
                number=number, is_finding=decision is not None, decision=decision, candidate=make.candidate([(1, 2)])
            ),
            occasion="after", says="it could have been seen",
        )
        for number, (where, decision) in enumerate(
            [(Where.AFTER, None), (Where.LONGER, None), (Where.BEFORE, make.decided(Verdict.ACCEPTED, FindingKind.FISSURE)), (Where.BOTH, None)]
        )
    ]  # fmt: skip
    rim = Rim(Quantity(12.0, 2.0, ""), Quantity(0.3, 0.1, ""), Quantity(1.5, 0.2, "mm/mm²"))
    glue = GlueChange(
        rim, replace(rim, crazing=None), Quantity(4.0, 1.0, ""), 6.0, "metal", "", near_neutral=True
    )
    sheet = ComparisonSheet(
        "before", "after", marks=tuple(Mark(np.zeros((2, 2)), False, one) for one in changed),  # type: ignore[arg-type]
        residual_um=2.5, glue=WorkShown("before", "after", glue, 0.4, None),
    )  # fmt: skip
    said = comparison_statement(sheet)
    assert said["seen_on_both"] == 1
    assert [(one["kind"], one["seen"]) for one in said["differing"]] == [
        ("candidate line", "only after"), ("candidate line", "longer after"), ("fissure", "only before")
    ]  # fmt: skip
    assert said["rim"]["after"]["crazing"] is None
    schema = json.loads((written / "data/readings.schema.json").read_text())
    schema = {"$defs": schema["$defs"], **schema["$defs"]["comparison"]}
    jsonschema.validate(said, schema, jsonschema.Draft202012Validator)


def test_the_schema_refuses_what_is_none_of_ours(written: Path) -> None:
    said = json.loads((written / "data/readings.json").read_text())
    schema = json.loads((written / "data/readings.schema.json").read_text())
    checker = jsonschema.Draft202012Validator(
        schema, format_checker=jsonschema.Draft202012Validator.FORMAT_CHECKER
    )
    checker.validate(said)

    def spoilt(spoil: Callable[[dict[str, Any]], object]) -> bool:
        other = json.loads(json.dumps(said))
        before = next(e for e in other["stones"][0]["examinations"] if e["occasion"] == "before")
        spoil(before)
        return not checker.is_valid(other)

    assert spoilt(lambda e: e["girdle"]["mean"].update(unit="px"))
    assert spoilt(lambda e: e["girdle"]["mean"].pop("standard_uncertainty"))
    assert spoilt(lambda e: e["girdle"]["mean"].update(standard_uncertainty=-1))
    assert spoilt(lambda e: e.update(verdict="genuine"))
    assert spoilt(lambda e: e["photographs"][0].update(original_sha256="0"))


def test_ome_tiff_carries_scale_and_regions(written: Path) -> None:
    ome_types = pytest.importorskip("ome_types")
    path = written / "data/ome-tiff/lid-3-before-white.ome.tif"
    with tifffile.TiffFile(path) as tiff:
        ome = ome_types.from_xml(tiff.ome_metadata, validate=True)
        assert (
            tiff.asarray() == open_photograph(written / "data/photographs/lid-3-before-white.jpg").pixels
        ).all()
    pixels = ome.images[0].pixels
    assert (pixels.physical_size_x, pixels.physical_size_x_unit.value) == (2.0, "µm")
    assert [roi.name for roi in ome.rois] == ["1 fissure", "2 crystal", "girdle"]
    assert [type(roi.union[0]).__name__ for roi in ome.rois] == ["Polyline", "Polygon", "Polygon"]
    assert ome.rois[0].union[0].points.startswith("100.50,90.50 ")
    assert [ref.id for ref in ome.images[0].roi_refs] == [roi.id for roi in ome.rois]


def test_the_hand_out_bears_fingerprint_and_digest(written: Path, key: WorkshopKey) -> None:
    page = (written / "data/hand-out.html").read_text()
    found = check_package(written, english(), fingerprint=key.fingerprint.upper().replace(" ", ""))
    assert not found.problems
    assert found.fingerprint in page
    assert grouped(found.evidence) in page
    assert Seal(key.fingerprint, found.evidence).qr_svg in page


def test_hand_outs_in_more_languages_and_on_paper(workshop: Book, key: WorkshopKey, tmp_path: Path) -> None:
    told: list[str] = []
    package = write_package(
        workshop, workshop.stones(), tmp_path / "package", key,
        languages=("de", "en", "de"), paper="letter", progress=told.append,
    )  # fmt: skip
    found = check_package(package, english())
    assert not found.problems
    sheets = {path.name for path in (package / "data").glob("hand-out*")}
    assert sheets == {"hand-out.html", "hand-out.pdf", "hand-out-en.html", "hand-out-en.pdf"}
    for name, words, drawn in (
        ("hand-out", "Bitte zuerst lesen", "Rundiste des Steins"),
        ("hand-out-en", "Read this first", "Girdle of the stone"),
    ):
        page = (package / f"data/{name}.html").read_text()
        assert f"<title>{drawn}</title>" in page
        printed = "".join(p.extract_text() for p in pypdf.PdfReader(package / f"data/{name}.pdf").pages)
        for text in (page, " ".join(printed.split())):  # pypdf reads the end of a line as such
            assert words in text
            assert key.fingerprint in text
            assert grouped(found.evidence) in text
    assert [step for step in told if not step.startswith(" ")] == ["lid-3", "lid-3"]
    assert " before, blue" in told


def test_a_telephone_reads_the_digest_off_the_paper(workshop: Book, key: WorkshopKey, tmp_path: Path) -> None:
    """ISO/IEC 18004, by OpenCV on what Poppler prints: like a telephone its reader takes some looks."""
    if shutil.which("pdftoppm") is None:
        pytest.skip("Poppler is not installed (Debian: poppler-utils)")
    package = write_package(workshop, workshop.stones(), tmp_path / "package", key, paper="a4")
    sheet = package / "data/hand-out.pdf"
    last = str(len(pypdf.PdfReader(sheet).pages))
    looks = []
    for dpi in ("150", "200", "250", "300"):
        subprocess.run(
            ["pdftoppm", "-r", dpi, "-f", last, "-l", last, "-singlefile", "-png", sheet, tmp_path / "page"],
            check=True, capture_output=True,
        )  # fmt: skip
        page = cv2.imread(str(tmp_path / "page.png"))
        looks += [
            reader.detectAndDecode(page)[0] for reader in (cv2.QRCodeDetector(), cv2.QRCodeDetectorAruco())
        ]
    assert {look.lower() for look in looks} - {""} == {check_package(package, english()).evidence}


@pytest.mark.parametrize("last", ["lid-3", " after, white", " hand-out.html", " checksums and signature"])
def test_a_cancelled_package_leaves_nothing(
    workshop: Book, key: WorkshopKey, tmp_path: Path, last: str
) -> None:
    class StoppedError(Exception):
        pass

    def stop(step: str) -> None:
        if step == last:
            raise StoppedError

    with pytest.raises(StoppedError):
        write_package(workshop, workshop.stones(), tmp_path / "p.zip", key, progress=stop)
    assert not list(tmp_path.iterdir())


# What leaves the house


def test_by_default_nobody_and_no_camera_is_named(written: Path) -> None:
    for path in written.rglob("*"):
        if path.is_file():
            content = path.read_bytes()
            assert SERIAL.encode() not in content, path
            assert PERSON.encode() not in content, path
    for name in ("white.jpg", "blue.png"):
        with Image.open(written / f"data/photographs/lid-3-before-{name}") as picture:
            assert set(picture.getexif()) <= {274}
            assert not picture.getexif().get_ifd(0x8825)


def test_originals_and_names_leave_where_the_workshop_says_so(
    workshop: Book, key: WorkshopKey, tmp_path: Path
) -> None:
    leaving = Leaving(names=True, originals=True)
    package = write_package(workshop, workshop.stones(), tmp_path / "all.zip", key, leaving=leaving)
    assert not check_package(package, english()).problems
    with zipfile.ZipFile(package) as archive:
        said = json.loads(archive.read("all/data/readings.json"))
        for examination in said["stones"][0]["examinations"]:
            for photograph in examination["photographs"]:
                content = archive.read(f"all/{photograph['file']}")
                assert hashlib.sha256(content).hexdigest() == photograph["original_sha256"]
                assert photograph["unaltered"]
        whole = archive.read(f"all/{said['photograph']['file']}")
        assert hashlib.sha256(whole).hexdigest() == said["photograph"]["original_sha256"]
        assert said["stones"][0]["readings"][0]["by"] == PERSON
        jsonschema.validate(said, json.loads(archive.read("all/data/readings.schema.json")))


def gathered(workshop: Book, leaving: Leaving, **choices: Any) -> Contents:
    sheets = gather(workshop, workshop.stones(), english(), names=True)
    made = datetime(2026, 1, 2, tzinfo=UTC)
    return contents_of(sheets, english(), leaving, workshop=workshop.workshop, made=made, **choices)


@pytest.mark.parametrize("leaving", [Leaving(), Leaving(names=True, originals=True)])
def test_the_preview_lists_just_what_is_written(
    workshop: Book, key: WorkshopKey, tmp_path: Path, leaving: Leaving
) -> None:
    languages = ("fr", "en")
    package = write_package(
        workshop, workshop.stones(), tmp_path / "p", key, leaving=leaving, languages=languages, paper="a4"
    )
    listed = gathered(workshop, leaving, languages=languages, pdf=True).files
    written = (path.relative_to(package).as_posix() for path in (package / "data").rglob("*"))
    assert set(listed) == {name for name in written if (package / name).is_file()}
    assert [*listed] == sorted(listed)


def test_the_preview_says_what_is_taken_out_and_what_stays_in(
    make: SimpleNamespace, workshop: Book, tmp_path: Path
) -> None:
    told = gathered(workshop, Leaving())
    assert told.taken_out[0] == f"Names of those who did the work: {PERSON}."
    notes = " ".join(told.taken_out)
    assert "lid-3 before, white; the object as a whole: place, names, serial numbers, comments." in notes
    assert PERSON not in told.page
    assert PERSON not in " ".join(told.stays_in)
    told = gathered(workshop, Leaving(names=True, originals=True))
    assert not told.taken_out
    assert "lid-3 before, white; the object as a whole: place, names, serial numbers" in " ".join(
        told.stays_in
    )
    assert PERSON in told.page
    with Book.create(tmp_path / "book", workshop=HOSTILE) as book:
        fill(book, make, tmp_path, f"as {PERSON} says")
        told = gathered(book, Leaving())
        assert f"'{PERSON}', in a text that somebody typed" in " ".join(told.stays_in)
        assert "<script>" not in contents_html(told)


def test_what_a_camera_notes_is_known(tmp_path: Path) -> None:
    """Tags of EXIF 3.0 (CIPA DC-008), chunks of PNG (W3C, third edition, 11.3), written by Pillow."""
    assert noted(noted_jpeg(noise())) == ("place", "names", "serial numbers", "comments")
    assert noted(noted_png(noise())) == ("names", "comments")
    assert noted(stripped(noted_jpeg(noise(), 6), "JPEG")) == ()
    assert noted(stripped(noted_png(noise()), "PNG")) == ()
    assert noted(b"camera raw") == ()


@pytest.mark.parametrize("orientation", [1, 6])
@pytest.mark.parametrize("progressive", [False, True])
def test_a_stripped_photograph_has_the_same_pixels(
    orientation: int, progressive: bool, tmp_path: Path
) -> None:
    file = io.BytesIO()
    with Image.open(io.BytesIO(noted_jpeg(noise(), orientation))) as picture:
        picture.save(
            file, "JPEG", exif=picture.getexif(), progressive=progressive, icc_profile=b"profile" * 9
        )
    kinds: tuple[tuple[Format, bytes], ...] = (("JPEG", file.getvalue()), ("PNG", noted_png(noise())))
    for kind, data in kinds:
        (tmp_path / "a").write_bytes(data)
        (tmp_path / "b").write_bytes(stripped(data, kind))
        assert (open_photograph(tmp_path / "a").pixels == open_photograph(tmp_path / "b").pixels).all()
        assert PERSON.encode() not in (tmp_path / "b").read_bytes()


# What the check says


def alter_pixel(package: Path) -> None:
    path = package / "data/photographs/lid-3-before-blue.png"
    with Image.open(path) as picture:
        picture.putpixel((3, 4), (1, 2, 3))
        picture.save(path)


def alter_number(package: Path) -> None:
    path = package / "data/readings.json"
    path.write_text(path.read_text().replace("1.762-1.770", "2.417"))


def add_file(package: Path) -> None:
    (package / "data/findings/more.jsonld").write_text("{}")


def add_beside(package: Path) -> None:
    (package / "READ ME FIRST.txt").write_text("Call another number.")


def add_listed(package: Path) -> None:
    """Somebody adds a file and names it in the one list that nothing signs."""
    add_beside(package)
    digest = hashlib.sha512((package / "READ ME FIRST.txt").read_bytes()).hexdigest()
    with (package / "tagmanifest-sha512.txt").open("a") as listed:
        listed.write(f"{digest}  READ ME FIRST.txt\n")


def empty_list(package: Path) -> None:
    (package / "tagmanifest-sha512.txt").write_text("")


def remove_file(package: Path) -> None:
    (package / "data/findings/lid-3-before-white.jsonld").unlink()


def remove_signature(package: Path) -> None:
    (package / SIGNATURE).unlink()


def alter_list(package: Path) -> None:
    alter_number(package)
    for algorithm in ("sha256", "sha512"):
        path = package / f"manifest-{algorithm}.txt"
        digest = hashlib.new(algorithm, (package / "data/readings.json").read_bytes()).hexdigest()
        path.write_text(re.sub(r"\w+(?=  data/readings.json)", digest, path.read_text()))


def damage_list(package: Path) -> None:
    (package / "manifest-sha256.txt").write_text("no list at all\n\n")


def sign_with_another(package: Path) -> None:
    """Somebody alters a number and signs all anew with a key of his own."""
    alter_number(package)
    other = workshop_key(package.parent / "other.pem")
    (package / "public-key.pem").write_bytes(other.public_pem)
    sign_again(package, other, Key_Fingerprint=other.fingerprint)


ALTERED: dict[str, tuple[Callable[[Path], None], list[str], str]] = {
    "pixel": (
        alter_pixel,
        ["altered"],
        "The photograph 'data/photographs/lid-3-before-blue.png' was altered",
    ),
    "number": (alter_number, ["altered"], "The record with its numbers 'data/readings.json' was altered"),
    "added": (add_file, ["added"], "The list of findings 'data/findings/more.jsonld' was added"),
    "beside": (add_beside, ["added"], "The file 'READ ME FIRST.txt' was added"),
    "listed": (add_listed, ["altered", "added"], "The file 'READ ME FIRST.txt' was added"),
    "empty list": (empty_list, ["altered"], "'tagmanifest-sha512.txt' was altered"),
    "removed": (remove_file, ["removed"], "'data/findings/lid-3-before-white.jsonld' was removed"),
    "unsigned": (remove_signature, ["unsigned"], "no signature"),
    "list": (alter_list, ["altered", "altered"], "'manifest-sha256.txt' was altered"),
    "damaged list": (damage_list, ["unreadable", "altered"], "cannot be read as a list"),
    "other key": (sign_with_another, ["other-key"], "Another key signed it than the one its own hand-out"),
}


@pytest.mark.parametrize("what", ALTERED)
def test_whatever_was_done_to_it_gets_a_plain_answer(what: str, package: Path) -> None:
    do, expected, sentence = ALTERED[what]
    do(package)
    for path in (package, zipped(package)):
        found = check_package(path, english())
        assert codes(found) == expected
        assert sentence in " ".join(problem.text for problem in found.problems)


def test_a_zip_altered_in_place_is_altered(written: Path, tmp_path: Path) -> None:
    path = Path(shutil.make_archive(str(tmp_path / "p"), "zip", written.parent, written.name))
    with zipfile.ZipFile(path, "a") as archive:
        entry = archive.getinfo("snuff-box/data/readings.json")
        at = entry.header_offset + 30 + len(entry.filename) + 20
    content = bytearray(path.read_bytes())
    content[at] ^= 0xFF
    path.write_bytes(content)
    assert codes(check_package(path, english())) == ["altered"]


def test_another_key_than_the_one_expected(written: Path, tmp_path: Path) -> None:
    other = workshop_key(tmp_path / "other.pem")
    found = check_package(written, english(), fingerprint=other.fingerprint)
    assert codes(found) == ["other-key"]
    assert "Ask the workshop" in found.problems[0].text


def test_clocks_that_run_wrong(package: Path, key: WorkshopKey) -> None:
    ahead = check_package(package, english(), now=datetime.now(UTC) - timedelta(days=3))
    assert codes(ahead) == ["clock"]
    assert "has not come" in ahead.problems[0].text
    sign_again(package, key, Signed="2019-01-01T00:00:00+00:00")
    behind = check_package(package, english())
    assert codes(behind) == ["clock"]
    assert "before its latest entry" in behind.problems[0].text
    sign_again(package, key, Signed="yesterday")
    assert codes(check_package(package, english())) == ["clock"]


def test_no_package_is_written_by_a_clock_that_is_behind(
    workshop: Book, key: WorkshopKey, tmp_path: Path
) -> None:
    with pytest.raises(AnnotateError, match="set the clock"):
        write_package(
            workshop, workshop.stones(), tmp_path / "p", key, now=datetime.now(UTC) - timedelta(days=1)
        )
    assert not list(tmp_path.iterdir())


# Names and texts from outside


def test_hostile_words_stay_words(make: SimpleNamespace, key: WorkshopKey, tmp_path: Path) -> None:
    with Book.create(tmp_path / "book", workshop=HOSTILE) as book:
        stone = fill(book, make, tmp_path, HOSTILE)
        package = write_package(book, [stone], tmp_path / "package", key)
    for path in package.rglob("*"):
        assert re.fullmatch(r"[A-Za-z0-9._-]+", path.name)
    said = json.loads((package / "data/readings.json").read_text())
    assert said["stones"][0]["stone"] == HOSTILE
    assert HOSTILE not in (package / "data/hand-out.html").read_text()
    for svg in (package / "data/overlays").iterdir():
        assert not [e for e in ElementTree.parse(svg).iter() if e.tag.endswith("script")]  # noqa: S314 our own
    assert bagit.Bag(str(package)).validate(processes=1)
    assert not check_package(package, english()).problems


@pytest.mark.parametrize("name", ["../out.txt", "/etc/out", "p/../../out", "C:/out", "p\\..\\out", "p/./x"])
def test_a_zip_that_leads_out_of_its_folder_is_refused(name: str, tmp_path: Path) -> None:
    path = tmp_path / "a.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("p/bagit.txt", "")
        archive.writestr("p/x", "")
        archive.infolist()[1].filename = name  # zipfile would make it harmless while writing
        archive.infolist()[1].orig_filename = name
    with pytest.raises(AnnotateError, match="leads out of its folder"):
        check_package(path, english())
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.zip"]


def test_links_twins_and_floods_are_refused(package: Path, tmp_path: Path) -> None:
    (package / "data/link").symlink_to("/etc/hostname")
    with pytest.raises(AnnotateError, match="leads elsewhere"):
        check_package(package, english())
    twins = tmp_path / "twins.zip"
    with zipfile.ZipFile(twins, "w") as archive:
        archive.writestr("p/data/A.png", "")
        archive.writestr("p/data/a.png", "")
    with pytest.raises(AnnotateError, match="stands twice"):
        check_package(twins, english())
    flood = tmp_path / "flood.zip"
    with zipfile.ZipFile(flood, "w") as archive:
        for number in range(MOST_FILES + 1):
            archive.writestr(f"p/{number}", "")
    with pytest.raises(AnnotateError, match="holds more than"):
        check_package(flood, english())


def test_names_that_turn_the_reading_direction_are_shown_plainly(package: Path) -> None:
    (package / "data" / "exe.\u202egnp").write_text("")
    (problem,) = check_package(package, english()).problems
    assert problem.text.startswith("The file 'data/exe.?gnp' was added")
    assert len(shown("x" * 500)) < 130


def test_one_file_is_copied_out(written: Path, tmp_path: Path) -> None:
    for package in (written, zipped(shutil.copytree(written, tmp_path / "p"))):
        copy = copied_out(package, HANDOUT, tmp_path)
        assert copy.read_bytes() == (written / HANDOUT).read_bytes()


def test_what_is_no_package_is_said(tmp_path: Path) -> None:
    (tmp_path / "a.zip").write_bytes(b"PK no zip")
    for path, sentence in (
        (tmp_path / "none", "There is no"),
        (tmp_path / "a.zip", "cannot be read as a package"),
        (tmp_path, "is no evidence package"),
    ):
        with pytest.raises(AnnotateError, match=sentence):
            check_package(path, english())


# The key


def test_vectors_of_rfc_8032() -> None:
    """RFC 8032, 7.1, tests 1 to 3."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    for secret, public, message, signature in (
        ("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
         "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
         "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"),
        ("4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
         "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
         "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"),
        ("c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
         "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025", "af82",
         "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a"),
    ):  # fmt: skip
        key = WorkshopKey(Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret)))
        assert key.private.public_key().public_bytes_raw().hex() == public
        assert key.sign(bytes.fromhex(message)).hex() == signature
        assert is_signed(key.private.public_key(), bytes.fromhex(signature), bytes.fromhex(message))
        assert not is_signed(key.private.public_key(), bytes.fromhex(signature), b"another")


def test_openssl_agrees(written: Path, key: WorkshopKey) -> None:
    if shutil.which("openssl") is None:
        pytest.skip("OpenSSL's command is not installed")
    verify = "openssl pkeyutl -verify -pubin -inkey public-key.pem -rawin -in tagmanifest-sha256.txt -sigfile"
    done = subprocess.run([*verify.split(), SIGNATURE], cwd=written, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr
    der = subprocess.run(
        ["openssl", "pkey", "-pubin", "-in", "public-key.pem", "-outform", "DER"], cwd=written, capture_output=True, check=True
    ).stdout  # fmt: skip
    assert hashlib.sha256(der).hexdigest() == key.fingerprint.replace(" ", "")


def test_the_digest_is_worked_out_by_hand(written: Path) -> None:
    """As docs/evidence.md does it with grep and sort."""
    lines = (written / "manifest-sha256.txt").read_text().splitlines(keepends=True)
    kept = sorted((line for line in lines if "  data/hand-out" not in line), key=lambda line: line[66:])
    by_hand = hashlib.sha256("".join(kept).encode()).hexdigest()
    assert by_hand == check_package(written, english()).evidence


def test_the_key_is_made_once_for_its_owner_alone(tmp_path: Path) -> None:
    file = tmp_path / "deep" / "workshop-key.pem"
    made = workshop_key(file)
    assert file.stat().st_mode & 0o777 == 0o600
    assert workshop_key(file).fingerprint == made.fingerprint
    change_passphrase(made, "eight stones", file)
    assert file.stat().st_mode & 0o777 == 0o600
    assert workshop_key(file, "eight stones").fingerprint == made.fingerprint
    for wrong in ("", "nine"):
        with pytest.raises(AnnotateError, match="missing or wrong"):
            workshop_key(file, wrong)
    change_passphrase(made, "", file)
    assert workshop_key(file, "of no use").fingerprint == made.fingerprint
    file.chmod(0o644)
    with pytest.raises(AnnotateError, match="Others can read"):
        workshop_key(file)
    file.chmod(0o600)
    file.write_text("no key")
    with pytest.raises(AnnotateError, match="holds no key"):
        workshop_key(file)


# RFC 8493, 2.1.3 and 2.4: what readers of manifests must take


@pytest.mark.parametrize(
    ("text", "listed"),
    [
        ("AB  data/a b.txt\r\n", {"data/a b.txt": "ab"}),
        ("ab\tdata/a\rcd *data/b", {"data/a": "ab", "data/b": "cd"}),
        ("ab data/100%25%0A.txt\n", {"data/100%\n.txt": "ab"}),
        ("ab data/%2520\n", {"data/%20": "ab"}),
    ],
)
def test_manifests_as_rfc_8493_allows_them(text: str, listed: dict[str, str]) -> None:
    assert read_manifest(text) == listed


@pytest.mark.parametrize("text", ["ab", "xyz  data/a", "ab  data/a\nab  data/a"])
def test_manifests_as_it_does_not(text: str) -> None:
    with pytest.raises(ValueError, match="checksums"):
        read_manifest(text)


def test_names_of_files_in_manifests_are_encoded_and_read_again(tmp_path: Path) -> None:
    # bagit-python takes line ends only and leaves '%25' as it is; names of ours hold neither.
    for folder, names, known in (
        ("ours", ["data/100%.txt", "data/%0A", "data/ü"], False),
        ("both", ["data/a\nb", "data/ü"], True),
    ):
        (tmp_path / folder / "data").mkdir(parents=True)
        for name in names:
            (tmp_path / folder / name).write_text("x")
        close_bag(tmp_path / folder, {"Bagging-Date": "2026-01-01"})
        assert set(read_manifest((tmp_path / folder / "manifest-sha512.txt").read_text())) == set(names)
        assert not known or bagit.Bag(str(tmp_path / folder)).validate(processes=1)
