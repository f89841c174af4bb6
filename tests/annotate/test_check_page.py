"""The page that checks packages, driven in Chromium from a file: offline, the same answers as the command's."""

import shutil
import zipfile
from collections.abc import Iterator
from hashlib import sha512
from pathlib import Path
from typing import Any

import pytest

from setstone.annotate.errors import AnnotateError
from setstone.annotate.package import bag
from setstone.annotate.package.bag import close_bag
from setstone.annotate.package.checking import check_package
from setstone.annotate.package.key import WorkshopKey, workshop_key
from setstone.annotate.package.layout import SIGNATURE
from setstone.annotate.package.opening import LARGE
from setstone.annotate.package.page import check_page, write_page
from setstone.annotate.seal import grouped
from setstone.annotate.texts import LANGUAGES, english

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)


@pytest.fixture(scope="module")
def key(tmp_path_factory: pytest.TempPathFactory) -> WorkshopKey:
    return workshop_key(tmp_path_factory.mktemp("key") / "workshop-key.pem")


def sign(package: Path, key: WorkshopKey, signed: str = "2026-01-02T03:04:05+00:00") -> None:
    for name in package.glob("*manifest-*"):
        name.unlink()
    (package / "public-key.pem").write_bytes(key.public_pem)
    information = {
        "Source-Organization": "Workshop on the Quay <b>",
        "Signed": signed,
        "Latest-Entry": "2026-01-01T00:00:00.123456+00:00",
        "Key-Fingerprint": key.fingerprint,
    }
    (package / SIGNATURE).write_bytes(key.sign(close_bag(package, information)))


@pytest.fixture
def package(tmp_path: Path, key: WorkshopKey) -> Path:
    """A package as small as can be; the page looks at files only."""
    folder = tmp_path / "snuff-box"
    (folder / "data/photographs").mkdir(parents=True)
    (folder / "data/photographs/lid-3.png").write_bytes(bytes(range(256)) * 40)
    (folder / "data/readings.json").write_text('{"value": "1.762"}')
    (folder / "data/hand-out.html").write_text(f"<code>{key.fingerprint}</code>")
    sign(folder, key)
    return folder


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    playwright = pytest.importorskip("playwright.sync_api", reason="Playwright is not installed")
    if CHROMIUM is None:
        pytest.skip("no Chromium is installed")
    with playwright.sync_playwright() as driver:
        running = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield running
        running.close()


@pytest.fixture
def page(browser: Any, tmp_path: Path) -> Iterator[Any]:
    """The page in a browser without network, which complains of nothing."""
    context = browser.new_context(offline=True, viewport={"width": 360, "height": 740})
    opened = context.new_page()
    said: list[str] = []
    opened.on("console", lambda message: said.append(message.text))
    opened.on("pageerror", lambda error: said.append(str(error)))
    opened.on(
        "request", lambda request: said.append(request.url) if not request.url.startswith("file:") else None
    )
    opened.goto(write_page(tmp_path / "check.html").as_uri())
    yield opened
    assert not said
    context.close()


def answers(
    page: Any, package: Path, expected: str = "", digest: str = "", *, dropped: bool = False
) -> tuple[str, list[str], list[str]]:
    """Give the page a package; return its title, what is wrong, and the facts."""
    page.fill("#expected", expected)
    page.fill("#digest", digest)
    if dropped:
        drop(page, package)
    else:
        page.set_input_files("#folder" if package.is_dir() else "#zip", package)
    return answer(page)


def drop(page: Any, package: Path) -> None:
    """Drag a file or folder from the desktop onto the page (Chrome DevTools Protocol, Input.dispatchDragEvent)."""
    devtools = page.context.new_cdp_session(page)
    data = {"items": [], "files": [str(package)], "dragOperationsMask": 1}
    for kind in ("dragEnter", "dragOver", "drop"):
        devtools.send("Input.dispatchDragEvent", {"type": kind, "x": 200, "y": 700, "data": data})


def answer(page: Any) -> tuple[str, list[str], list[str]]:
    page.wait_for_selector("#answer:not([hidden])")
    title = page.inner_text("#answer h2")
    return title, page.locator("#answer li").all_inner_texts(), page.locator("#answer dd").all_inner_texts()


def zipped(folder: Path) -> Path:
    return Path(shutil.make_archive(str(folder), "zip", folder.parent, folder.name))


def test_a_whole_package(page: Any, package: Path, key: WorkshopKey) -> None:
    found = check_package(package, english(), fingerprint=key.fingerprint)
    assert not found.problems
    for path in (package, zipped(package)):
        for dropped in (False, True):
            title, problems, facts = answers(page, path, key.fingerprint, found.evidence, dropped=dropped)
            assert title == english()("check.good")
            assert problems == []
            assert facts == [
                found.workshop, "2026-01-02 03:04 UTC", found.fingerprint, grouped(found.evidence), str(found.files)
            ]  # fmt: skip
            said = page.locator("#answer > p").all_inner_texts()
            assert said == [english()(f"check.{name}") for name in ("same_key", "same_digest", "limits")]
            page.reload()


def test_what_systems_lay_beside_files_is_not_held_against_it(page: Any, package: Path) -> None:
    """As Finder, Explorer and the Archive Utility of macOS leave it."""
    for name in (".DS_Store", "data/._readings.json", "data/Thumbs.db", "data/photographs/desktop.ini"):
        (package / name).write_bytes(b"x")
    packed = zipped(package)
    with zipfile.ZipFile(packed, "a") as archive:
        archive.writestr(f"__MACOSX/{package.name}/._data", "x")
    for path in (package, packed):
        assert not check_package(path, english()).problems
        assert answers(page, path)[:2] == (english()("check.good"), [])
        page.reload()
    (package / "data/DS_Store").write_bytes(b"x")
    assert len(check_package(package, english()).problems) == len(answers(page, package)[1]) == 1


def test_what_was_given_later_is_compared(page: Any, package: Path) -> None:
    answers(page, package)
    assert page.locator("#answer > p").all_inner_texts() == [
        english()(f"check.{name}") for name in ("compare_key", "compare_digest", "limits")
    ]
    page.fill("#digest", "0" * 64)
    page.press("#digest", "Tab")
    page.wait_for_selector("#answer.bad")
    assert answer(page)[1] == [english()("check.other_sheet")]
    page.fill("#digest", "one half")
    page.press("#digest", "Tab")
    page.get_by_text(english()("check.not_whole")).wait_for()
    page.fill("#digest", check_package(package, english()).evidence.upper())  # as a telephone reads it
    page.press("#digest", "Tab")
    page.wait_for_selector("#answer.good")


@pytest.mark.parametrize(
    "what",
    [
        "pixel",
        "number",
        "added",
        "listed",
        "removed",
        "unsigned",
        "signature",
        "list",
        "other key",
        "expected",
        "other sheet",
        "ahead",
        "behind",
        "no bag",
    ],
)
def test_the_page_says_what_the_command_says(
    page: Any, package: Path, key: WorkshopKey, what: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    expected = digest = ""
    if what == "pixel":
        path = package / "data/photographs/lid-3.png"
        path.write_bytes(b"\x01" + path.read_bytes()[1:])
    elif what == "number":
        (package / "data/readings.json").write_text('{"value": "2.417"}')
    elif what == "added":
        (package / "data/exe.\u202egnp").write_text("<b>")
    elif what == "listed":
        (package / "data/more").write_text("<b>")
        (package / "tagmanifest-sha512.txt").write_text(f"{sha512(b'<b>').hexdigest()}  data/more\n")
    elif what == "removed":
        (package / "data/readings.json").unlink()
    elif what == "unsigned":
        (package / SIGNATURE).unlink()
    elif what == "signature":
        (package / SIGNATURE).write_bytes(bytes(64))
    elif what == "list":
        (package / "manifest-sha512.txt").write_text("0 data/none\nno list")
    elif what == "other key":
        sign(package, workshop_key(package.parent / "other.pem"))
    elif what == "expected":
        expected = "0" * 64
    elif what == "other sheet":
        digest = "f" * 64
    elif what == "no bag":  # RFC 8493, 2.1.1: no byte order mark
        monkeypatch.setattr(bag, "DECLARATION", f"\ufeff{bag.DECLARATION}")
        sign(package, key)
    else:
        sign(package, key, "2999-01-01T00:00:00+00:00" if what == "ahead" else "2019-01-01T00:00:00+00:00")
    found = check_package(package, english(), fingerprint=expected, digest=digest)
    assert found.problems
    for path in (package, zipped(package)):
        title, problems, _ = answers(page, path, expected, digest)
        assert title == english()("check.bad")
        assert problems == [problem.text for problem in found.problems]


def test_what_is_no_package_is_said(page: Any, tmp_path: Path) -> None:
    (tmp_path / "a.zip").write_bytes(b"no zip")
    assert answers(page, tmp_path / "a.zip")[0] == english()("check.damaged")


def test_traps_are_refused_as_by_the_command(page: Any, package: Path, tmp_path: Path) -> None:
    content = zipped(package).read_bytes()
    (tmp_path / "half.zip").write_bytes(content[: len(content) // 2])
    with zipfile.ZipFile(tmp_path / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("p/data/x", bytes(LARGE + 1))
    with zipfile.ZipFile(tmp_path / "liar.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("p/bagit.txt", "")
        archive.writestr("p/manifest-sha256.txt", f"{'0' * 64}  data/x\n")
        archive.writestr("p/data/x", bytes(90_000_000))
        archive.infolist()[2].file_size = 10
    for name, trap in (("out", "../x"), ("twice", "p/BAGIT.TXT")):
        with zipfile.ZipFile(tmp_path / f"{name}.zip", "w") as archive:
            archive.writestr("p/bagit.txt", "")
            archive.writestr("p/x", "")
            archive.infolist()[1].filename = trap
    for name, said in (
        ("half", english()("check.damaged")),
        ("bomb", english()("check.too_large")),
        ("liar", english()("check.bad")),
        ("out", english()("check.leads_out", file="'../x'")),
        ("twice", english()("check.twice", file="'p/BAGIT.TXT'")),
    ):
        page.reload()
        assert answers(page, tmp_path / f"{name}.zip")[0] == said
        if name != "liar":
            with pytest.raises(AnnotateError):
                check_package(tmp_path / f"{name}.zip", english())


@pytest.mark.parametrize("width", [360, 768, 1440])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_everybody_can_use_it(browser: Any, package: Path, tmp_path: Path, width: int, scheme: str) -> None:
    """WCAG 2.2 A and AA by axe-core, and 1.4.10 Reflow, before and after each kind of answer."""
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="axe-core is not installed (dev-gui)"
    )
    context = browser.new_context(
        viewport={"width": width, "height": 740}, color_scheme=scheme, offline=True, bypass_csp=True
    )
    page = context.new_page()
    page.goto(write_page(tmp_path / "check.html").as_uri())

    def look() -> None:
        found = axe.Axe().run(
            page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
        )
        assert not found.response["violations"], found.generate_report()
        assert page.evaluate("document.documentElement.scrollWidth") == width

    look()
    answers(page, package)
    assert page.evaluate("document.activeElement.id") == "answer"  # read out at once
    look()
    (package / "data" / ("long-" * 30 + ".txt")).write_text("")
    page.reload()
    answers(page, package)
    look()
    context.close()


def test_it_works_by_keyboard_alone(page: Any) -> None:
    reached = []
    for _ in range(4):
        page.keyboard.press("Tab")
        reached.append(page.evaluate("document.activeElement.id"))
    assert reached == ["zip", "folder", "expected", "digest"]


def test_a_browser_without_the_signature_is_told(page: Any) -> None:
    page.add_init_script("crypto.subtle.generateKey = () => Promise.reject(new Error());")
    page.reload()
    page.wait_for_selector("#answer:not([hidden])")
    assert page.inner_text("#answer h2") == english()("check.no_ed25519")
    assert page.is_disabled("#zip")


@pytest.mark.parametrize("language", LANGUAGES)
def test_its_policy_admits_no_network(language: str) -> None:
    """CSP Level 3: nothing but the style and script whose hashes it names."""
    source = check_page(language)
    assert f'<html lang="{language}">' in source
    assert "default-src 'none'; style-src 'sha256-" in source
    assert "unsafe" not in source
    assert "connect-src" not in source
    assert source.count("</script>") == 1
