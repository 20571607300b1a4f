"""The batch sheet prints on one page, also with thirty chubs: a real browser makes the page."""

import os
import re
from pathlib import Path

import pytest

from fiftyover.cli import main

CHROMIUM = Path("/usr/bin/chromium")
pytestmark = [
    pytest.mark.system,
    pytest.mark.skipif(not CHROMIUM.exists() and os.environ.get("CI") != "true", reason="no chromium on this machine"),
]


@pytest.mark.parametrize(("stout", "weight", "chubs"), [(3, "8 kg", 16), (6, "15.5 kg", 30)])
def test_the_sheet_prints_on_one_page(stout: int, weight: str, chubs: int, tmp_path: Path) -> None:
    recipe, page = tmp_path / "r.toml", tmp_path / "sheet.html"
    assert main(["plan", "two_lines", "--write", str(recipe)]) == 0
    text = recipe.read_text("utf-8").replace("count = 3", f"count = {stout}").replace("hooks = 16", "hooks = 30")
    recipe.write_text(text.replace('weight = "8 kg"', f'weight = "{weight}"'), "utf-8")
    assert main(["plan", str(recipe), "--cook-h", "4-9", "--html", str(page)]) == 0
    assert page.read_text("utf-8").count("<li>[ ]") == chubs
    from playwright.sync_api import sync_playwright

    with sync_playwright() as tools:
        browser = tools.chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox"])
        sheet = browser.new_page()
        sheet.goto(page.as_uri())
        printed = sheet.pdf(prefer_css_page_size=True)
        browser.close()
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", printed)) == 1
