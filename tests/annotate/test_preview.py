"""The page for a text widget: the same words, the pictures taken out."""

from xml.etree import ElementTree

from setstone.annotate.preview import preview_of

PAGE = """<!DOCTYPE html><html><head><meta charset="utf-8"><title>t</title><style>p {}</style></head><body>
<a class="skip" href="#x">skip</a><p>1 &lt; 2 &amp; <bdi>3</bdi></p>
<svg viewBox="0 0 1 1"><path d="M0,0"/></svg>
<input type="checkbox"><label for="a">Show marks</label>
<div><img src="data:image/jpeg;base64,AAEC" alt="a"><svg viewBox="-0.5 -0.5 3 2" class="overlay"><g><title>A</title>\
<path d="M0,0 1,1"/></g><a href="#b"><text x="1">1 &amp; 2</text></a></svg></div></body></html>"""


def test_words_stay_and_what_a_text_widget_cannot_show_goes() -> None:
    preview = preview_of(PAGE)
    assert "1 &lt; 2 &amp; <bdi>3</bdi>" in preview.html
    assert '<div><img src="picture:0"></div>' in preview.html
    for gone in ("skip", "svg", "style", "Show marks", "input"):
        assert gone not in preview.html


def test_pictures_carry_their_drawing() -> None:
    (picture,) = preview_of(PAGE).pictures
    assert picture.jpeg == b"\x00\x01\x02"
    drawing = ElementTree.fromstring(picture.svg)  # noqa: S314 our own
    assert drawing.attrib["viewBox"] == "-0.5 -0.5 3 2"
    tags = [element.tag.partition("}")[2] for element in drawing.iter()]
    assert tags == ["svg", "g", "title", "path", "text"]
    assert "".join(drawing.itertext()) == "A1 & 2"
