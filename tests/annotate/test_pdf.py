"""The hand-out on paper, read by other programs' eyes: pikepdf (QPDF) with its PDF/A validator, and pypdf."""

import re
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import pikepdf
import pypdf
import pytest
from pikepdf.pdfa import validate_written

from setstone.annotate.errors import AnnotateError
from setstone.annotate.pdf import write_pdf
from setstone.record.book import Book
from setstone.record.vocabulary import Fact, WorkKind


@pytest.fixture(scope="module")
def written(make: SimpleNamespace, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("pdf")
    with Book.create(folder / "book", workshop="Workshop at the Old Mill") as book:
        stone = make.fill(book, folder)
        book.state_fact(stone, Fact.BACK, "closed, foil at the rim", by="Ada")
        book.add_work(stone, WorkKind.SET, adhesive="acrylic copolymer", done=make.made, by="Ada")
        return write_pdf(book, [stone], folder / "hand-out.pdf", made=make.made)


def text_of(path: Path) -> str:
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pypdf.PdfReader(path).pages))


def test_it_says_what_the_page_says(written: Path) -> None:
    text = text_of(written)
    for words in (
        "Presentation snuff box", "Workshop at the Old Mill", "lid-3", "claimed as ruby", "fissure",
        "candidate line", "1.762 to 1.770 ± 0.002", "Old adhesive removed.", "acrylic copolymer",
        "does not replace a laboratory report", "closed, foil at the rim", "Back, as seen",
        "A sixth of the girdle cannot be seen.", "Corundum, ruby",
    ):  # fmt: skip
        assert words in text, words
    assert "A. Sample" not in text
    assert "Ada" not in text


def test_it_is_an_archival_and_accessible_document(written: Path) -> None:
    # ISO 19005-2 (PDF/A-2), level A, and ISO 14289-1 (PDF/UA-1): what a second reader can see of them
    with pikepdf.open(written) as pdf:
        with pdf.open_metadata() as metadata:
            assert metadata.pdfa_status == "2A"
            assert metadata["pdfuaid:part"] == "1"
        root = pdf.Root
        assert root.MarkInfo.Marked
        assert root.Lang == "en"
        assert "/StructTreeRoot" in root
        assert root.ViewerPreferences.DisplayDocTitle
        assert root.OutputIntents[0].S == "/GTS_PDFA1"  # colours mean the same everywhere
        for forbidden in ("/AcroForm", "/OpenAction", "/AA"):
            assert forbidden not in root
        assert not pdf.attachments
        assert not pdf.check_pdf_syntax()
        fonts = [
            o
            for o in pdf.objects
            if isinstance(o, pikepdf.Dictionary) and o.get("/Type") == "/FontDescriptor"
        ]
        assert fonts
        assert all({"/FontFile2", "/FontFile3"} & set(f.keys()) for f in fonts)  # all embedded
        figures = [o for o in pdf.objects if isinstance(o, pikepdf.Dictionary) and o.get("/S") == "/Figure"]
        assert len(figures) == 4
        assert all(str(f.Alt).startswith("Microscope photograph of stone lid-3") for f in figures)
        tags = {
            str(o.S) for o in pdf.objects if isinstance(o, pikepdf.Dictionary) and "/S" in o and "/P" in o
        }
        assert {"/H1", "/H2", "/Table", "/TH", "/TD", "/L"} <= tags


#: The validator holds veraPDF's profile of PDF/A-2b and refuses whatever it does not know. What it refuses here, and
#: why it may stand: ISO 19005-2 by number of clause, from memory.
MAY_STAND = {
    "pikepdf:font-program": "FontMatrix is not supported",  # of one font in a CFF collection; drawn right by poppler
    "ISO_19005_2:6.2.11.4.2-2": "/CIDSet on a CIDFontType2 subset is not checked",
    "pikepdf:schema-OutlineItem": "/Dest",  # given by reference, as ISO 32000-1, 7.3.10 allows
    "ISO_19005_2:6.6.2.3.1-1": r"(pdfaExtension|pdfaSchema|pdfaProperty|pdfuaid|xmpTPg)\b",  # 6.6.2.3.3; XMP 2005
    "ISO_19005_2:6.6.2.3.1-2": "xmpMM:History is not checked",
    "ISO_19005_2:6.6.4-3": "conformance is 'A', expected 'B'",  # level A is level B and more (clause 5)
}


def refused(path: Path) -> list[str]:
    """Give what the validator refuses and may not stand."""
    findings = validate_written(path, "2b").findings
    return [str(f) for f in findings if not re.search(MAY_STAND.get(f.rule, "$^"), str(f))]


def test_an_independent_validator_finds_nothing(two_days: Path, written: Path, tmp_path: Path) -> None:
    assert refused(written) == []
    with Book.open(two_days, read_only=True) as book:
        path = write_pdf(book, book.stones(), tmp_path / "h.pdf", paper="letter", language="fr")
    assert refused(path) == []


def no_intent(pdf: pikepdf.Pdf) -> None:
    del pdf.Root.OutputIntents


def a_script(pdf: pikepdf.Pdf) -> None:
    pdf.Root.OpenAction = pikepdf.Dictionary(S=pikepdf.Name.JavaScript, JS="app.alert(1)")


def a_font_left_out(pdf: pikepdf.Pdf) -> None:
    for found in pdf.objects:
        if isinstance(found, pikepdf.Dictionary) and "/FontFile3" in found:
            del found["/FontFile3"]


@pytest.mark.parametrize("spoil", [no_intent, a_script, a_font_left_out])
def test_the_validator_would_have_told(
    written: Path, tmp_path: Path, spoil: Callable[[pikepdf.Pdf], None]
) -> None:
    with pikepdf.open(written) as pdf:
        spoil(pdf)
        pdf.save(tmp_path / "spoilt.pdf")
    assert refused(tmp_path / "spoilt.pdf")


def test_marks_are_drawn_as_lines_over_whole_photographs(written: Path) -> None:
    with pikepdf.open(written) as pdf:
        images = [o for o in pdf.objects if isinstance(o, pikepdf.Stream) and o.get("/Subtype") == "/Image"]
        photographs = [o for o in images if o.get("/Filter") == "/DCTDecode"]
        assert {(int(o.Width), int(o.Height)) for o in photographs} >= {(300, 200)}
        # no mark was turned into pixels
        assert len(images) == len(photographs)


@pytest.mark.parametrize(("paper", "size"), [("a4", (595, 842)), ("letter", (612, 792))])
def test_papers(make: SimpleNamespace, tmp_path: Path, paper: str, size: tuple[int, int]) -> None:
    # ISO 216: 210 mm × 297 mm; ANSI/ASME Y14.1: 8.5 in × 11 in
    with Book.create(tmp_path / "book") as book:
        stone = make.fill(book, tmp_path)
        path = write_pdf(book, [stone], tmp_path / "h.pdf", paper=paper, language="de", made=make.made)
        write_pdf(book, [stone], path, paper=paper, made=make.made)  # its own file may be replaced
        with pytest.raises(AnnotateError, match="no paper 'folio'; choose one of a4, letter"):
            write_pdf(book, [stone], path, paper="folio")
    reader = pypdf.PdfReader(path)
    assert {(round(p.mediabox.width), round(p.mediabox.height)) for p in reader.pages} == {size}
    # first page, one to two pages a stone, and what holds for all
    assert len(reader.pages) <= 5


def test_a_pdf_of_others_is_left_alone(make: SimpleNamespace, tmp_path: Path) -> None:
    with Book.create(tmp_path / "book") as book:
        stone = make.fill(book, tmp_path)
        pikepdf.new().save(tmp_path / "h.pdf")
        with pytest.raises(AnnotateError, match="left alone"):
            write_pdf(book, [stone], tmp_path / "h.pdf")


def test_typed_markup_stays_text(make: SimpleNamespace, tmp_path: Path) -> None:
    typst = '*b* _i_ $x$ `c` #read("x.txt") \\ <l> @l #panic() ]'
    with Book.create(tmp_path / "book", workshop=typst) as book:
        stone = make.fill(book, tmp_path, words=typst[:56])
        book.add_remark(stone, f"{typst}\n漢\U00010fff " + "W" * 3000, by="Ada")
        path = write_pdf(book, [stone], tmp_path / "h.pdf", made=make.made)
    text = text_of(path)
    assert "*b* _i_ $x$ `c`" in text
    assert "#read(" in text
    assert "‹U+10FFF›" in text  # no font draws it: named, not lost
    assert text.replace(" ", "").count("W") >= 3000
