"""The hand-out as a buyer opens it: in Chromium, on a phone and on a desk, by hand, by keyboard, on paper and without script."""

import re
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from setstone.annotate.handout import write_handout
from setstone.record.book import Book
from setstone.record.vocabulary import Fact, WorkKind

playwright = pytest.importorskip("playwright.sync_api", reason="Playwright is not installed (dev-gui)")
axe = pytest.importorskip(
    "axe_playwright_python.sync_playwright", reason="axe-core is not installed (dev-gui)"
)

CHROMIUM = shutil.which("chromium")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed (Debian: chromium)")
#: Rules of axe-core that stand for success criteria of WCAG 2.2, levels A and AA.
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
#: Pixels: a telephone, a tablet and a desk.
WIDTHS = [360, 768, 1440]


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as play:
        opened = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def sheet(make: SimpleNamespace, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a hand-out whose photographs are larger than a screen."""
    folder = tmp_path_factory.mktemp("browser")
    with Book.create(folder / "book", workshop="Workshop at the Old Mill") as book:
        stone = make.fill(book, folder, enlarged=8)
        book.state_fact(book.object(), Fact.HALLMARK, "crowned G", by="Ada")
        book.add_work(stone, WorkKind.SET, adhesive="acrylic copolymer", done=make.made, by="Ada")
        other = book.add_stone(book.object(), "lid-1")
        return write_handout(book, [stone, other], folder / "hand-out.html", made=make.made)


def opened(browser: Any, sheet: Path, *, width: int = 1440, height: int = 900, **context: Any) -> Any:
    page = browser.new_context(viewport={"width": width, "height": height}, **context).new_page()
    page.complaints = []
    page.on("console", lambda message: page.complaints.append(message.text))
    page.on("pageerror", lambda error: page.complaints.append(str(error)))
    page.goto(sheet.as_uri())
    return page


def um_of(label: str) -> float:
    figure, unit = label.replace("\xa0", " ").split()
    return float(figure) * {"mm": 1000, "µm": 1}[unit]


def readable(page: Any, context: str | None = None) -> None:
    """Assert that nothing on a page breaks WCAG 2.2, and that nothing was left undecided.

    axe-core leaves the contrast of letters inside drawings, and of single characters, to others: it is worked out here.
    """
    found = axe.Axe().run(page, context=context, options={"runOnly": WCAG})
    assert not found.response["violations"], found.generate_report()
    for rule in found.response["incomplete"]:
        assert rule["id"] == "color-contrast", rule
        for node in rule["nodes"]:
            (selector,) = node["target"]
            text, ground = page.locator(selector).first.evaluate(COLOURS)
            assert contrast(text, ground) >= 4.5, (selector, text, ground)


#: Colour of a text, and of the shape it is drawn on in a drawing, or of the element it stands in.
COLOURS = """e => {
  const style = getComputedStyle(e);
  if (!(e instanceof SVGElement)) return [style.color, style.backgroundColor];
  const shape = e.closest("g, a").querySelector("path:last-of-type");
  return [style.fill, getComputedStyle(shape).fill];
}"""


def contrast(*colours: str) -> float:
    """Give the contrast ratio of two opaque colours (WCAG 2.2, definitions of contrast ratio and relative luminance)."""
    lightness = []
    for colour in colours:
        assert colour.startswith("rgb(")
        red, green, blue = (int(v) / 255 for v in re.findall(r"\d+", colour))
        linear = (v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in (red, green, blue))
        lightness.append(sum(w * v for w, v in zip((0.2126, 0.7152, 0.0722), linear, strict=True)))
    return (max(lightness) + 0.05) / (min(lightness) + 0.05)


def test_contrast_as_published() -> None:
    # WCAG 2.2: black on white is 21:1; #767676 on white is the lightest grey that reaches 4.5:1 (4.54, from memory)
    assert contrast("rgb(0, 0, 0)", "rgb(255, 255, 255)") == pytest.approx(21)
    assert contrast("rgb(118, 118, 118)", "rgb(255, 255, 255)") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_everybody_can_read_it(browser: Any, sheet: Path, width: int, scheme: str) -> None:
    page = opened(browser, sheet, width=width, color_scheme=scheme, bypass_csp=True)
    readable(page)
    assert page.evaluate("document.documentElement.scrollWidth") == width  # WCAG 2.2, 1.4.10 Reflow
    if width < 640:  # nor is a column of a table out of sight
        assert page.locator(".scroll").evaluate_all("all => all.every(e => e.scrollWidth <= e.clientWidth)")
    page.context.close()


@pytest.mark.parametrize("width", WIDTHS)
def test_zooming_shows_every_pixel_and_a_true_scale(browser: Any, sheet: Path, width: int) -> None:
    page = opened(browser, sheet, width=width)
    figure = page.locator("figure").first
    assert figure.locator(".full").count() == 0
    nearer = figure.get_by_role("button", name="Nearer")
    for _ in range(6):
        nearer.click()
    full = figure.locator(".full")
    full.wait_for()
    assert full.evaluate("i => [i.naturalWidth, i.naturalHeight]") == [2400, 1600]
    # 2 µm a pixel (conftest.py): the bar on the screen against the picture on the screen
    shown = full.bounding_box()["width"] / 2400
    bar = figure.locator(".bar rect").bounding_box()["width"]
    assert bar * 2.0 / shown == pytest.approx(um_of(figure.locator(".length").inner_text()), rel=0.01)
    figure.get_by_role("button", name="Whole").click()
    assert full.count() == 0  # and its memory goes
    assert not page.complaints
    page.context.close()


def test_keyboard_moves_and_zooms(browser: Any, sheet: Path) -> None:
    page = opened(browser, sheet)
    stage = page.locator(".stage").first
    stage.focus()
    page.keyboard.press("+")
    page.keyboard.press("+")
    moved = stage.locator(".moved")
    before = moved.bounding_box()
    page.keyboard.press("ArrowRight")
    assert moved.bounding_box()["x"] < before["x"]
    page.keyboard.press("0")
    assert moved.bounding_box()["width"] == pytest.approx(stage.bounding_box()["width"])
    large = page.get_by_label("Enlarge").first
    large.check()
    assert page.locator("main > section").first.evaluate("e => e.inert")
    assert stage.bounding_box()["height"] > 600
    page.keyboard.press("Escape")
    assert not large.is_checked()
    assert not page.locator("main > section").first.evaluate("e => e.inert")
    page.context.close()


@pytest.mark.parametrize("width", WIDTHS)
def test_layers_are_switched(browser: Any, sheet: Path, width: int) -> None:
    page = opened(browser, sheet, width=width)
    exam = page.locator(".exam").first
    for name, layer in (("fissures", "lines"), ("inclusions", "spots"), ("girdle", "girdle")):
        mark = exam.locator(f".overlay .{layer} path").first
        assert mark.is_visible()
        exam.get_by_label(name).uncheck()
        assert not mark.is_visible()
        exam.get_by_label(name).check()
        assert mark.is_visible()
    page.context.close()


@pytest.mark.parametrize("width", WIDTHS)
def test_every_number_lights_up_in_picture_and_text(browser: Any, sheet: Path, width: int) -> None:
    page = opened(browser, sheet, width=width)
    background = "e => getComputedStyle(e).backgroundColor"
    rows = page.locator("tr[data-n]:has(a.badge)").all()
    assert len(rows) > 2
    for row in rows:
        number, unlit = row.get_attribute("data-n"), row.evaluate(background)
        row.locator("a.badge").click()
        lit = page.locator(".overlay .lit")
        assert set(lit.evaluate_all("all => all.map(e => e.dataset.n)")) == {number}
        stage = page.locator(".stage.zoomed:has(.lit)")
        frame = stage.bounding_box()
        mark = stage.locator(".lit:not(.tag) path").last.bounding_box()
        across, down = mark["x"] + mark["width"] / 2, mark["y"] + mark["height"] / 2
        assert frame["x"] < across < frame["x"] + frame["width"]
        assert 0 < down < 900
        page.keyboard.press("0")
        page.mouse.move(1, 1)
        stage = page.locator(".stage:has(.lit)")
        stage.locator("a.tag.lit").focus()
        assert row.evaluate(background) != unlit  # while the mark is looked at
        page.keyboard.press("Enter")
        assert row.evaluate("e => e.matches(':target')")  # and once it was followed
        assert 0 < row.bounding_box()["y"] < 900
    page.context.close()


def test_fingers_zoom_on_a_phone(browser: Any, sheet: Path) -> None:
    page = opened(browser, sheet, width=360, height=740, has_touch=True, is_mobile=True)
    stage = page.locator(".stage").first
    stage.scroll_into_view_if_needed()
    box = stage.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    touch = page.context.new_cdp_session(page)

    def fingers(kind: str, *apart: float) -> None:
        points = [{"x": x + s * d, "y": y, "id": n} for d in apart for n, s in enumerate((-1, 1))]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    fingers("touchStart", 20)
    for apart in (30, 45, 60, 80):
        fingers("touchMove", apart)
    fingers("touchEnd")
    assert stage.locator(".moved").bounding_box()["width"] > 2 * box["width"]
    page.context.close()


def test_all_facts_are_there_without_the_script(browser: Any, sheet: Path) -> None:
    page, still = opened(browser, sheet), opened(browser, sheet, java_script_enabled=False)
    facts = [re.sub(r"\s+", " ", p.locator("main").inner_text()) for p in (page, still)]
    for control in ("− + Whole Marks ", "− + Whole ", "Swipe Blink Side by side Difference "):
        facts[0] = facts[0].replace(control, "")
    assert len(facts[0]) > 3000
    assert facts[0] == facts[1]
    assert not still.locator(".buttons").first.is_visible()
    still.get_by_label("Enlarge").first.check()  # enlarging and layers need no script
    assert still.locator("figure").first.bounding_box()["width"] == 1440
    page.context.close()
    still.context.close()


def test_it_prints(browser: Any, sheet: Path) -> None:
    page = opened(browser, sheet)
    page.get_by_role("button", name="Nearer").first.click()
    page.emulate_media(media="print")
    assert not page.locator(".buttons").first.is_visible()
    assert page.locator(".moved").first.evaluate("e => getComputedStyle(e).transform") == "none"
    assert page.pdf(prefer_css_page_size=True).startswith(b"%PDF")
    page.context.close()


def test_the_policy_stops_what_would_be_slipped_in(
    browser: Any, make: SimpleNamespace, tmp_path: Path
) -> None:
    with Book.create(tmp_path / "book") as book:
        stone = make.fill(book, tmp_path)
        hostile = replace(
            stone,
            position="<svg onload=alert(1)><script>alert(2)</script>",
            claimed_as='"><img src=x onerror=alert(3)>',
        )
        path = write_handout(book, [hostile], tmp_path / "h.html", made=make.made)
    page = opened(browser, path)
    dialogs: list[Any] = []
    page.on("dialog", lambda dialog: dialogs.append(dialog))  # Playwright wants a function of its own
    assert "<svg onload=alert(1)>" in page.locator("h2").all_inner_texts()[2]
    # even a script that somehow got in does not run
    page.evaluate("document.body.append(Object.assign(document.createElement('script'), {text: 'alert(4)'}))")
    page.wait_for_timeout(200)
    assert not dialogs
    assert any("Content Security Policy" in said for said in page.complaints)
    page.context.close()


@pytest.fixture(scope="module")
def both_days(two_days: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a hand-out on a stone as received and after the work."""
    with Book.open(two_days, read_only=True) as book:
        return write_handout(book, book.stones(), tmp_path_factory.mktemp("both") / "hand-out.html")


def pressed(page: Any, way: str) -> Any:
    """Choose how both days are shown; return their figure."""
    figure = page.locator("figure.days").first
    figure.get_by_role("button", name=way, exact=True).click()
    return figure


@pytest.mark.parametrize("width", WIDTHS)
def test_before_and_after_can_be_read_by_everybody(browser: Any, both_days: Path, width: int) -> None:
    page = opened(browser, both_days, width=width, bypass_csp=True)
    for way in ("Swipe", "Side by side", "Difference"):
        pressed(page, way)
        readable(page, "section.compare")
        assert page.evaluate("document.documentElement.scrollWidth") == width
    page.context.close()


@pytest.mark.parametrize("width", WIDTHS)
def test_the_divider_is_dragged_and_moved_by_key(browser: Any, both_days: Path, width: int) -> None:
    page = opened(browser, both_days, width=width)
    figure = pressed(page, "Swipe")
    pair = figure.locator(".pair")
    pair.scroll_into_view_if_needed()
    box = pair.bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + 50)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] / 4, box["y"] + 60, steps=5)
    page.mouse.up()
    divider = figure.get_by_role("slider")
    assert abs(int(divider.input_value()) - 25) <= 1
    divider.press("ArrowRight")
    after = figure.locator(".after")
    assert after.evaluate("e => e.style.clipPath") == f"inset(0px 0px 0px {divider.input_value()}%)"
    assert not page.complaints
    page.context.close()


def test_both_days_blink_lie_side_by_side_or_show_their_difference(browser: Any, both_days: Path) -> None:
    page = opened(browser, both_days)
    figure = pressed(page, "Blink")
    before, after, difference = (figure.locator(f".{name}") for name in ("before", "after", "day.difference"))
    after.wait_for(state="visible")
    assert before.is_hidden()
    before.wait_for(state="visible")  # and back
    pressed(page, "Side by side")
    left, right = before.bounding_box(), after.bounding_box()
    assert left["x"] + left["width"] < right["x"] + 1
    assert left["y"] == right["y"]
    pressed(page, "Difference")
    assert difference.is_visible()
    assert before.is_hidden()
    assert figure.get_by_text("orange became lighter").is_visible()
    page.context.close()


def test_both_days_move_and_grow_together(browser: Any, both_days: Path) -> None:
    page = opened(browser, both_days)
    figure = pressed(page, "Side by side")
    figure.get_by_role("button", name="Nearer").click()
    figure.locator(".pair").press("ArrowRight")
    moved = figure.locator(".before .moved, .after .moved").evaluate_all(
        "all => all.map(e => e.style.transform)"
    )
    assert moved[0] == moved[1]
    assert "scale(1.5)" in moved[0]
    figure.get_by_role("button", name="Whole").click()
    assert figure.locator(".before .moved").evaluate("e => e.style.transform") == ""
    page.context.close()


@pytest.mark.parametrize("way", ["Swipe", "Side by side", "Difference"])
def test_the_number_of_a_change_leads_to_its_mark(browser: Any, both_days: Path, way: str) -> None:
    page = opened(browser, both_days)
    rows = page.locator("section.compare tr[data-n]")
    assert rows.count() > 1
    for place in range(rows.count()):
        row = rows.nth(place)
        link = row.locator("a.mark")
        figure = page.locator(link.get_attribute("href"))
        figure.get_by_role("button", name=way, exact=True).click()
        link.click()
        apart, zoomed = figure.evaluate(
            """(figure, [n, day]) => {
                const seen = figure.querySelector(day), mark = seen.querySelector(`g:not(.tag)[data-n="${n}"] path:last-of-type`);
                const [a, b] = [seen, mark].map(e => e.getBoundingClientRect());
                const off = [a.x + a.width / 2 - b.x - b.width / 2, a.y + a.height / 2 - b.y - b.height / 2];
                return [Math.hypot(...off) / a.width, seen.querySelector(".moved").style.transform.includes("scale")];
            }""",
            [row.get_attribute("data-n"), ".difference" if way == "Difference" else ".before"],
        )
        assert zoomed
        assert apart < 0.25  # in the middle, but for a mark near the edge of the picture
        assert figure.locator(f'.lit[data-n="{row.get_attribute("data-n")}"]').count() > 0
    page.context.close()


def test_a_place_looked_at_stays_when_the_window_grows(browser: Any, both_days: Path) -> None:
    page = opened(browser, both_days, width=900)
    link = page.locator("section.compare tr[data-n] a.mark").first
    link.click()
    figure = page.locator(link.get_attribute("href"))
    middle = """figure => {
        const seen = figure.querySelector(".before").getBoundingClientRect(), moved = figure.querySelector(".before .moved").getBoundingClientRect();
        return [(seen.x + seen.width / 2 - moved.x) / moved.width, (seen.y + seen.height / 2 - moved.y) / moved.height];
    }"""
    before = figure.evaluate(middle)
    page.set_viewport_size({"width": 1300, "height": 900})
    page.wait_for_timeout(200)
    assert figure.evaluate(middle) == pytest.approx(before, abs=0.01)
    page.context.close()


def shown_um(figure: Any) -> tuple[float, float]:
    """How long the scale bar of both days is by its label, and by the picture above it, µm."""
    across, label, bar, picture = figure.evaluate(
        """f => [Number(f.dataset.um), f.querySelector(".length").textContent,
              f.querySelector(".bar rect").getBoundingClientRect().width, f.querySelector(".before .moved").getBoundingClientRect().width]"""
    )
    return um_of(label), across * bar / picture


def test_the_scale_bar_of_both_days_is_right_however_they_are_shown(browser: Any, both_days: Path) -> None:
    page = opened(browser, both_days)
    for way in ("Swipe", "Side by side"):
        figure = pressed(page, way)
        for button in ("Whole", "Nearer", "Nearer"):
            figure.get_by_role("button", name=button).click()
            said, drawn = shown_um(figure)
            assert drawn == pytest.approx(said, rel=0.01)
    page.context.close()
    for media, script in (("screen", False), ("print", True)):
        page = opened(browser, both_days, java_script_enabled=script)
        page.emulate_media(media=media)
        said, drawn = shown_um(page.locator("figure.days").first)
        assert drawn == pytest.approx(said, rel=0.01)
        page.context.close()


def test_without_the_script_and_on_paper_both_days_stand_side_by_side(browser: Any, both_days: Path) -> None:
    page = opened(browser, both_days, java_script_enabled=False)
    figure = page.locator("figure.days").first
    left, right = (figure.locator(f".{name}").bounding_box() for name in ("before", "after"))
    assert left["x"] + left["width"] < right["x"] + 1
    assert page.get_by_text("possible damage: look at this place first").first.is_visible()
    assert figure.locator(".buttons").first.is_hidden()
    page.context.close()
    page = opened(browser, both_days)
    page.emulate_media(media="print")
    figure = page.locator("figure.days").first
    left, right = (figure.locator(f".{name}").bounding_box() for name in ("before", "after"))
    assert left["x"] + left["width"] < right["x"] + 1
    page.context.close()
