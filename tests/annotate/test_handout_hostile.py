"""Whatever is typed stays text: in the page and on paper."""

from collections import Counter
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace

import pypdf
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from setstone.annotate.handout import gather, render
from setstone.annotate.pdf import pdf_of
from setstone.annotate.sheet import StoneSheet
from setstone.annotate.texts import english
from setstone.record.book import Book

#: What turns markup, scripts, styles, drawings, templates and the direction of writing; between these anything.
BITS = st.sampled_from(
    [
        "<script>alert(1)</script>", "</script>", "<svg onload=x>", "</bdi>", "]]>", "-->", "<!--", '"', "'", "`", "&lt;",
        "{{ 7*7 }}", "{% raw %}", "{by}", "#panic()", "#read(\"a\")", "\\", "*b*", "$x$", "</style>", "javascript:x",
        "\u202e", "\u2066", "\u200f", "\x00", "\ud800", "\ufdd0", "漢", "😀", "e\u0301" * 30, "W" * 400,
    ]
)  # fmt: skip
TEXTS = st.lists(st.one_of(BITS, st.text(max_size=8)), min_size=1, max_size=6).map(
    lambda bits: "x" + "".join(bits)
)


@pytest.fixture(scope="module")
def sheet(make: SimpleNamespace, tmp_path_factory: pytest.TempPathFactory) -> StoneSheet:
    folder = tmp_path_factory.mktemp("hostile")
    with Book.create(folder / "book") as book:
        stone = make.fill(book, folder)
        return gather(book, [stone], english(), names=True)[0]


def saying(sheet: StoneSheet, text: str) -> StoneSheet:
    """Put a text wherever a person may write one."""
    occasions = []
    for occasion in sheet.occasions:
        entry = occasion.examination
        decided = tuple(
            replace(c, decision=replace(c.decision, reason=text, by=text)) if c.decision else c
            for c in entry.candidates
        )
        pictures = tuple(
            replace(p, overlay=replace(p.overlay, title=text, description=text)) for p in occasion.pictures
        )
        entry = replace(entry, occasion=text, by=text, candidates=decided)
        occasions.append(replace(occasion, examination=entry, pictures=pictures))
    return replace(
        sheet,
        stone=replace(sheet.stone, position=text, claimed_as=text, object_name=text),
        occasions=tuple(occasions),
        remarks=tuple(replace(r, text=text, by=text) for r in sheet.remarks),
        readings=tuple(
            replace(
                r,
                says=text,
                entry=replace(r.entry, test=text, value=text, instrument=text, remark=text, by=text),
            )
            for r in sheet.readings
        ),
    )


def elements(page: str) -> Counter[str]:
    found: Counter[str] = Counter()

    class Reader(HTMLParser):
        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            found[tag + "".join(sorted(name for name, _ in attrs))] += 1

    reader = Reader()
    reader.feed(page)
    reader.close()
    return found


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(text=TEXTS)
def test_no_text_adds_an_element_or_an_attribute(make: SimpleNamespace, sheet: StoneSheet, text: str) -> None:
    harmless = render([saying(sheet, "x")], english(), made=make.made, workshop="x")
    page = render([saying(sheet, text)], english(), made=make.made, workshop=text)
    assert elements(page) == elements(harmless)
    assert not set("\u202e\u2066\u200f\x00\ud800\ufdd0") & set(page)
    page.encode()


@settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck))
@given(text=TEXTS)
@example(text="0" * 23 + "t" + "0" * 9)  # where a long word breaks, nothing stands in what is copied
def test_no_text_is_set_as_anything_but_text(
    make: SimpleNamespace, sheet: StoneSheet, tmp_path_factory: pytest.TempPathFactory, text: str
) -> None:
    path: Path = tmp_path_factory.mktemp("pdf") / "h.pdf"
    path.write_bytes(pdf_of([saying(sheet, text)], english(), made=make.made, workshop=text))
    reader = pypdf.PdfReader(path)
    assert "does not replace a laboratory report" in " ".join(reader.pages[0].extract_text().split())
    links = [annotation.get_object() for page in reader.pages for annotation in page.annotations or []]
    assert not [link for link in links if "/URI" in str(link.get("/A", ""))]  # all lead into the document
