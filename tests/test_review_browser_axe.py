"""Rules of WCAG that a program can check, on the page at two widths.

The checker is axe-core (MPL-2.0), used here only and never shipped. It is taken from a cache of the user's, and fetched
there once by `npm pack` where npm has a registry. It cannot see into a canvas: what is drawn there is in the lists.
"""

import io
import json
import shutil
import subprocess
import tarfile
from pathlib import Path

import pytest
from made_page import made_page
from made_results import made_result
from test_review_browser_lists import with_curve
from test_review_browser_views import with_before, with_score
from test_review_browser_words import calibrated_result, with_page

pytestmark = pytest.mark.browser

AXE = "axe-core@4.14.1"
CACHE = Path.home() / ".cache" / "spreadmap-tests" / "axe-4.14.1.min.js"
RUN = (
    "axe.run(document, {resultTypes: ['violations']}).then((found) => found.violations.map((one) =>"
    "[one.id, one.impact, one.nodes.slice(0, 3).map((node) => node.html.slice(0, 200))]))"
)


@pytest.fixture(scope="session")
def axe(tmp_path_factory):
    """The checker's script."""
    npm = shutil.which("npm")
    if not CACHE.exists() and npm is not None:
        folder = tmp_path_factory.mktemp("axe")
        done = subprocess.run([npm, "pack", AXE], cwd=folder, capture_output=True, timeout=90, check=False)
        for packed in folder.glob("axe-core-*.tgz") if done.returncode == 0 else ():
            with tarfile.open(fileobj=io.BytesIO(packed.read_bytes())) as archive:
                script = archive.extractfile("package/axe.min.js")
                CACHE.parent.mkdir(parents=True, exist_ok=True)
                CACHE.write_bytes(script.read())
    if not CACHE.exists():
        pytest.skip(f"{AXE} is not here and `npm pack` could not fetch it")
    return CACHE.read_text(encoding="utf-8")


@pytest.mark.parametrize("public", [False, True], ids=["full", "public"])
def test_nothing_is_found_at_any_width(browser, axe, public):
    path = browser.folder / f"axe_{public}.html"
    path.write_bytes(made_page(with_curve(with_score(with_before(made_result()))), public=public))
    for width in (1280, 390):
        browser.size(width, 800)
        browser.open(path)
        browser.do(axe)
        found = browser.run(RUN)
        assert found == [], f"{width}: {json.dumps(found, indent=1)}"


@pytest.mark.parametrize("language", ["en", "es"])
def test_nothing_is_found_in_calibrated_mode_nor_in_spanish(browser, axe, language):
    path = browser.folder / f"axe_calibrated_{language}.html"
    path.write_bytes(made_page(with_page(calibrated_result(), language=language)))
    browser.size(1280, 800)
    browser.open(path)
    browser.do(axe)
    found = browser.run(RUN)
    assert found == [], json.dumps(found, indent=1)


def test_the_checker_finds_what_is_wrong(browser, axe):
    path = browser.folder / "axe_wrong.html"
    path.write_bytes(made_page(made_result()).replace(b'<html lang="en">', b"<html>"))
    browser.open(path)
    browser.do(axe)
    assert "html-has-lang" in [rule for rule, _, _ in browser.run(RUN)]
