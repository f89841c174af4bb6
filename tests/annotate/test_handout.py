"""The hand-out, made from a book as a workshop keeps it."""

import base64
import hashlib
import io
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from PIL import Image

from setstone.annotate.errors import AnnotateError
from setstone.annotate.handout import write_handout
from setstone.annotate.photo_copies import MOST_BYTES, copies_of
from setstone.measure.quantity import Quantity
from setstone.record.book import Book
from setstone.record.estimating import estimate_weight, keep_estimate
from setstone.record.vocabulary import Fact, WorkKind

#: Elements without end tag (HTML Living Standard, 13.1.2).
VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}
HOSTILE = "<script>alert('x')\"><img src=x onerror=1> &amp; {{ 7*7 }}"


class Page(HTMLParser):
    """What a page is made of; complains of unbalanced tags and repeated identifiers."""

    def __init__(self, source: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.texts: list[tuple[tuple[str, ...], str]] = []
        self.ids: set[str] = set()
        self.feed(source)
        self.close()
        assert not self.open, self.open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = {k: v or "" for k, v in attrs}
        self.elements.append((tag, values))
        if "id" in values:
            assert values["id"] not in self.ids, values["id"]
            self.ids.add(values["id"])
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> closes nothing"
        assert self.open[-1] == tag, f"</{tag}> closes <{self.open[-1]}>"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        self.texts.append((tuple(self.open), data))

    @property
    def visible(self) -> str:
        """All text a reader sees."""
        return " ".join(text for where, text in self.texts if not {"style", "script"} & {*where})

    def all(self, tag: str) -> list[dict[str, str]]:
        return [values for name, values in self.elements if name == tag]


@pytest.fixture(scope="module")
def source(make: SimpleNamespace, tmp_path_factory: pytest.TempPathFactory) -> str:
    """Give a hand-out on two stones, one of them not examined."""
    folder = tmp_path_factory.mktemp("handout")
    with Book.create(folder / "book", workshop="Workshop at the Old Mill") as book:
        stone = make.fill(book, folder)
        other = book.add_stone(book.object(), "lid-1")
        box = book.object()
        book.state_fact(box, Fact.METAL, "yellow metal, not tested", by="Ada")
        book.state_fact(box, Fact.HALLMARK, "crowned G, last figure worn", by="Ada")
        book.state_fact(box, Fact.MAKER, "workshop of the Quay, says the seller", by="Ada")
        book.state_fact(stone, Fact.BACK, "closed, foil at the rim", by="Ada")
        book.add_work(stone, WorkKind.UNSET, solvent="ethanol on a swab", done=make.made, by="Ada")
        book.add_work(stone, WorkKind.SET, adhesive="acrylic copolymer in acetone", done=make.made, by="Ada")
        book.sign(stone, by="Ada")
        book.add_remark(stone, "Looked at again.", by="Bea")
        path = write_handout(book, [stone, other], folder / "hand-out.html", names=True, made=make.made)
    return path.read_text("utf-8")


@pytest.fixture(scope="module")
def page(source: str) -> Page:
    return Page(source)


def test_it_is_sound_html(source: str, page: Page) -> None:
    assert source.startswith("<!DOCTYPE html>")
    assert page.all("html") == [{"lang": "en"}]
    assert {"charset": "utf-8"} in page.all("meta")
    assert len(page.all("h1")) == 1
    assert next(name for name, _ in page.elements if re.fullmatch(r"h\d", name)) == "h1"


def test_everything_has_a_name_for_those_who_cannot_see_it(page: Page) -> None:
    # WCAG 2.2, success criteria 1.1.1 (text alternatives), 1.3.1 and 4.1.2 (labels)
    photographs = [image for image in page.all("img") if image["alt"]]
    assert len(photographs) == 4
    # decorative beside the same words: an empty alternative
    assert len(page.all("img")) == 5
    labelled = {label["for"] for label in page.all("label") if "for" in label}
    # a label names its control by its identifier, or holds it
    inside = [i for i in page.all("input") if i["class"].startswith("layer-")]
    assert {i["id"] for i in page.all("input") if i not in inside} == labelled
    assert all(i["class"] in {"layer-lines", "layer-spots", "layer-girdle"} for i in inside)
    assert all(h["scope"] in {"col", "row"} for h in page.all("th"))
    for _, values in page.elements:
        if "aria-labelledby" in values:
            assert values["aria-labelledby"] in page.ids


def test_links_lead_somewhere_inside(page: Page) -> None:
    addresses = [values["href"] for values in page.all("a")]
    assert len(addresses) > 10
    assert all(a.startswith("#") and a[1:] in page.ids for a in addresses)


def test_it_asks_for_nothing_from_outside(source: str, page: Page) -> None:
    without_pictures = re.sub(r"data:image/jpeg;base64,[A-Za-z0-9+/=]+|sha256-[A-Za-z0-9+/=]+", "", source)
    assert not re.search(r"https?:|//\w|url\(|@import|javascript:", without_pictures)
    names = {name for name, _ in page.elements}
    assert not names & {"link", "iframe", "object", "embed", "form", "base", "video", "audio"}
    for _, values in page.elements:
        assert not [k for k in values if k.startswith("on") or k in {"style", "srcset", "formaction"}]
        assert values.get("src", "data:image/jpeg;base64,").startswith("data:image/jpeg;base64,")


def test_the_policy_admits_its_own_style_only(source: str, page: Page) -> None:
    # W3C Content Security Policy Level 3: default-src, img-src, hashes of inline style
    (policy,) = [m["content"] for m in page.all("meta") if m.get("http-equiv") == "Content-Security-Policy"]
    style, script = (
        base64.b64encode(hashlib.sha256(inside.encode()).digest()).decode()
        for tag in ("style", "script")
        for inside in re.findall(f"<{tag}>(.*?)</{tag}>", source, re.S)
    )
    assert policy == (
        f"default-src 'none'; img-src data:; style-src 'sha256-{style}'; script-src 'sha256-{script}'; "
        "base-uri 'none'; form-action 'none'"
    )
    assert source.index("Content-Security-Policy") < source.index("<style>")
    assert page.all("script") == [{}]


def test_pictures_are_whole_and_unmarked(page: Page) -> None:
    for image in page.all("img")[1:]:
        data = base64.b64decode(image["src"].partition(",")[2])
        decoded = Image.open(io.BytesIO(data))
        assert (decoded.format, decoded.size) == ("JPEG", (300, 200))
        assert (image["width"], image["height"]) == ("300", "200")


def test_the_words_of_a_workshop_not_of_a_laboratory(page: Page) -> None:
    text = page.visible.lower()
    for word in (
        "genuine",
        "certif",
        "authentic",
        "guarantee",
        "proven",
        "flawless",
        "real ruby",
        "is a ruby",
    ):
        assert word not in text, word
    for words in (
        "claimed as", "a claim handed on to the workshop, not a finding", "consistent with",
        "does not replace a laboratory report", "only a gemmological laboratory", "must disclose",
        "never look at a blue or ultraviolet lamp",
    ):  # fmt: skip
        assert words in text, words


def test_it_tells_what_the_book_holds(page: Page) -> None:
    text = re.sub(r"\s+", " ", page.visible)
    for words in (
        "Presentation snuff box", "prepared by Workshop at the Old Mill", "14 March 2026", "lid-3", "lid-1",
        "This stone has not been examined.", "fissure", "candidate line", "candidate spot",
        "0.410 mm ± 0.012 mm long", "41 µm ± 8 µm across", "1.3 times as long as wide",
        "strong, 42 grey levels brighter (of 255)", "clear, 31 grey levels darker (of 255)",
        "very likely a real flaw: 93 %", "likely a real flaw: 72 %", "about as likely as not a real flaw: 55 %",
        "bright in blue light, hardly seen in white light", "read from the scale bar in the photograph (500 µm)",
        "relative uncertainty ± 0.4 % (k = 2)", "1.762 to 1.770 ± 0.002", "refractometer R-2",
        "Old adhesive removed. Set again.", "A sixth of the girdle cannot be seen.", "red, as photographed",
        "L* 34, a* 41, b* 12", "less than 4.4 (CIEDE2000", "haze index 0.12", "milkiness to be judged by eye",
        "open candidates below 21 %: 1; rejected by a person: 1", "oval, 82 % of it seen",
    ):  # fmt: skip
        assert words in text.replace("\xa0", " "), words
    assert "px" not in re.sub(r"SHA-256|[0-9a-f]{64}", "", text)
    assert "pixel" not in text


def test_it_tells_what_the_readings_are_consistent_with_and_what_not(page: Page) -> None:
    text = re.sub(r"\s+", " ", page.visible)
    for words in (
        "What the readings are consistent with", "Corundum, ruby", "natural or laboratory-grown: not separable",
        "Corundum, flame-fusion (Verneuil) ruby/sapphire", "as well as any", "Signs of treatment",
        "No sign of a filling is entered; that excludes none.", "whether it grew in nature or in a laboratory",
        "Tests that would tell more", "body colour: tells", "others of the table", "it may be Doublet",
    ):  # fmt: skip
        assert words in text, words
    assert " 0 more" not in text


def test_contradictions_and_unchecked_readings_stand_on_the_sheet(
    make: SimpleNamespace, tmp_path: Path
) -> None:
    with Book.create(tmp_path / "book") as book:
        stone = make.fill(book, tmp_path)
        for line in ("polariscope single", "thermal 5", "loupe flash effect"):
            book.add_line(stone, line, by="A. Sample")
        source = write_handout(book, [stone], tmp_path / "h.html", made=make.made).read_text("utf-8")
    text = re.sub(r"\s+", " ", Page(source).visible)
    assert "What does not go together" in text
    assert "Single refraction and double refraction do not go together" in text
    assert "not compared: no calibration check with both reference stones stands beside it" in text
    assert "Flash effect alone is a sign of a filling and not enough" in text


def test_both_occasions_in_the_order_of_time(page: Page) -> None:
    text = page.visible
    titles = [t for where, t in page.texts if "h3" in where and t in {"as received", "after"}]
    assert titles == ["as received", "after"]
    assert len(re.findall(r"[0-9a-f]{64}", text)) == 4


def test_each_mark_meets_its_row(page: Page) -> None:
    rows = {v["id"]: v["data-n"] for v in page.all("tr") if "data-n" in v}
    assert sorted(rows.values()) == ["1", "1", "2", "2", "3", "3"]
    marks = [v for v in page.all("a") if v.get("class", "").startswith("tag ")]
    # a finding in both photographs, a candidate in one: 2 + 1 + 1 marks an occasion
    assert len(marks) == 8
    assert all(rows[m["href"][1:]] == m["data-n"] for m in marks)


def test_every_size_has_a_unit(page: Page) -> None:
    cells = [
        t for where, t in page.texts if where[-2:] == ("td", "span") and re.search(r"\d", t) and "±" in t
    ]
    assert cells
    for cell in cells:
        assert re.fullmatch(r"(up to )?[\d.]+\xa0(mm|µm) ±\xa0[\d.]+\xa0(mm|µm) (long|wide|across)", cell), (
            cell
        )


def test_hostile_text_stays_text(make: SimpleNamespace, tmp_path: Path) -> None:
    with Book.create(tmp_path / "book", workshop=HOSTILE) as book:
        stone = make.fill(book, tmp_path, words=HOSTILE)
        source = write_handout(book, [stone], tmp_path / "h.html", made=make.made).read_text("utf-8")
    page = Page(source)
    assert not {name for name, _ in page.elements} & {"iframe"}
    assert page.all("script") == [{}]
    assert len(page.all("img")) == 5
    assert all(i["src"].startswith("data:") for i in page.all("img"))
    assert "{{ 7*7 }}" in page.visible
    assert page.visible.count("<script>alert('x')") > 10
    assert not [v for _, v in page.elements if any(k.startswith("on") for k in v)]


def test_entries_that_bypassed_the_book_cannot_turn_the_page(make: SimpleNamespace, tmp_path: Path) -> None:
    with Book.create(tmp_path / "book") as book:
        stone = make.fill(book, tmp_path)
        odd = replace(
            stone, position="lid\u202e-3\x00\ud800", claimed_as="ruby " * 4000, object_name="\u2067box"
        )
        source = write_handout(book, [odd], tmp_path / "h.html", made=make.made).read_text("utf-8")
    assert not re.search("[\u202a-\u202e\u2066-\u2069\x00]", source)
    Page(source)


def test_the_same_book_gives_the_same_page(make: SimpleNamespace, tmp_path: Path) -> None:
    with Book.create(tmp_path / "book") as book:
        stone = make.fill(book, tmp_path)
        one = write_handout(book, [stone], tmp_path / "1.html", made=make.made).read_bytes()
        two = write_handout(book, [stone], tmp_path / "2.html", made=make.made).read_bytes()
    assert one == two


def test_what_cannot_be_handed_out_is_told(make: SimpleNamespace, tmp_path: Path) -> None:
    with Book.create(tmp_path / "book") as book:
        with pytest.raises(AnnotateError, match="no stone"):
            write_handout(book, [], tmp_path / "h.html")
        stone = make.fill(book, tmp_path)
        (tmp_path / "h.html").write_text("my own page")
        with pytest.raises(AnnotateError, match=r"h\.html.*left alone"):
            write_handout(book, [stone], tmp_path / "h.html")
        gone = book.photographs(stone)[0].path
        gone.chmod(0o600)
        gone.unlink()
        with pytest.raises(AnnotateError, match=re.escape(gone.name)):
            write_handout(book, [stone], tmp_path / "i.html")
        assert not (tmp_path / "i.html").exists()


def test_marks_work_and_signature_stand_with_how_they_are_known(source: str) -> None:
    text = re.sub(r"<[^>]+>|\s+", " ", source)
    for words in (
        "Hallmark, as read crowned G, last figure worn",
        "Maker, as claimed workshop of the Quay",
        "Back, as seen closed, foil at the rim",
        "set again acrylic copolymer in acetone",
        "a mark can be worn, misread, moved or false",
        "Record signed as version 1 by Ada",
        "changed since, and the changes not signed",
    ):
        assert words in re.sub(r" +", " ", text), words


def test_no_operator_is_named_unless_asked_for(make: SimpleNamespace, tmp_path: Path) -> None:
    operators = ("A. Sample", "Wilhelmina", "Zeno")
    with Book.create(tmp_path / "book") as book:
        stone = make.fill(book, tmp_path)
        book.state_fact(book.object(), Fact.HALLMARK, "crowned G", by="Wilhelmina")
        book.state_fact(stone, Fact.BACK, "closed", by="Wilhelmina")
        book.add_work(stone, WorkKind.SET, adhesive="paste", done=make.made, done_by="Zeno", by="Wilhelmina")
        book.sign(stone, by="Wilhelmina")
        silent, told = (
            write_handout(book, [stone], tmp_path / "h.html", names=names, made=make.made).read_text("utf-8")
            for names in (False, True)
        )
    assert not [name for name in operators if name in silent]
    assert all(name in told for name in operators)
    for kept in ("crowned G", "paste", "Old adhesive removed.", "Record signed as version 1, "):
        assert kept in silent


def test_a_large_photograph_is_kept_at_full_resolution(make: SimpleNamespace, tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    large = np.repeat(np.repeat(rng.integers(0, 256, (300, 400, 3), np.uint8), 8, axis=0), 8, axis=1)
    copies = copies_of(large)
    assert (copies.width, copies.height) == (1600, 1200)
    assert len(copies.full) <= MOST_BYTES
    assert Image.open(io.BytesIO(copies.full)).size == (3200, 2400)
    noise = rng.integers(0, 256, (2500, 2500, 3), np.uint8)
    assert len(copies_of(noise).full) <= MOST_BYTES
    assert copies_of(large[:300, :400]).full == b""


@pytest.mark.parametrize(
    ("language", "words"),
    [
        (
            "de",
            (
                "Werkstattprotokoll",
                "Linie (Kandidat)",
                "0,410 mm ± 0,012 mm lang",
                "14. März 2026",
                "durch diese Ablesungen nicht zu trennen",
            ),
        ),
        (
            "fr",
            (
                "Relevé d’atelier",
                "ligne candidate",
                "0,410 mm ± 0,012 mm de long",
                "14 mars 2026",
                "ces lectures ne les séparent pas",
            ),
        ),
    ],
)
def test_it_speaks_other_languages(
    make: SimpleNamespace, tmp_path: Path, language: str, words: tuple[str, ...]
) -> None:
    with Book.create(tmp_path / "book") as book:
        stone = make.fill(book, tmp_path)
        path = write_handout(book, [stone], tmp_path / "h.html", language=language, made=make.made)
    page = Page(path.read_text("utf-8"))
    assert page.all("html") == [{"lang": language}]
    text = re.sub(r"\s+", " ", page.visible)
    for said in words:
        assert said in text, said
    # what the record says otherwise than the program ever does stays English, and is marked so (WCAG 2.2, 3.1.2)
    assert '<bdi lang="en">A sixth of the girdle cannot be seen.' in path.read_text("utf-8")
    assert "natural or laboratory-grown" not in text


def test_an_estimated_weight_stands_by_itself_with_its_formula(make: SimpleNamespace, tmp_path: Path) -> None:
    with Book.create(tmp_path / "book") as book:
        stone = make.fill(book, tmp_path)
        measure = Quantity(6.0, 0.02, "mm")
        found = estimate_weight(
            book,
            stone,
            "round",
            depth=Quantity(4.0, 0.05, "mm"),
            specific_gravity=4.0,
            length=measure,
            width=measure,
        )
        keep_estimate(book, stone, found, by="A. Sample")
        path = write_handout(book, [stone], tmp_path / "h.html", made=make.made)
    page = Page(path.read_text("utf-8"))
    text = re.sub(r"\s+", " ", page.visible).replace("\xa0", " ")
    assert f"Weight est. {str(found.weight.weight).split(' ')[0]} ct ±" in text
    assert found.weight.formula in text
    assert "(k = 2)" in text
    assert "not weighed" in text
    assert text.count("estimated weight") == 0  # no row among the readings


def test_the_object_stands_at_the_head_with_its_stones(make: SimpleNamespace, tmp_path: Path) -> None:
    lid = tmp_path / "lid.png"
    Image.effect_noise((300, 200), 60).convert("RGB").save(lid)
    with Book.create(tmp_path / "book") as book:
        stone = make.fill(book, tmp_path)
        other = book.add_stone(book.object(), "lid-<b>")
        book.picture_object(book.object(), lid)
        book.place_stone(stone, (0.25, 0.5))
        text = write_handout(book, [stone, other], tmp_path / "sheet.html").read_text("utf-8")
        page = Page(text)
        assert text.index('class="whole"') < text.index('class="glance"') < text.index('class="stone"')
        links = [values for tag, values in page.elements if tag == "a" and "tag" in values.get("class", "")]
        assert [values["href"] for values in links if "legend" in values["class"]] == [f"#s{stone.id}"]
        book.place_stone(other, (0.75, 0.5))
        Page(write_handout(book, [stone, other], tmp_path / "sheet.html").read_text("utf-8"))
        book.picture_object(book.object(), None)
        assert 'class="whole"' not in write_handout(book, [stone], tmp_path / "sheet.html").read_text("utf-8")
