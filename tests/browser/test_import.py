"""A tester's file, from the first time it is seen to its checks, by each hand."""

from pathlib import Path

import pytest
from playwright.sync_api import expect

from packs.models import VoltageCheck
from tests.browser import shop, testers
from tests.browser.conftest import Take
from tests.browser.hands import PLAIN

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.mark.parametrize("take", PLAIN, indirect=True, ids=lambda kind: str(kind.name))
def test_a_file_is_named_tried_and_stored(take: Take, tmp_path: Path) -> None:
    shop.make_packs()
    before = VoltageCheck.objects.count()
    file = tmp_path / "october.csv"
    file.write_text(testers.export(shop.PACK, testers.NOBODY, shop.YOUNG))
    manager = take("manager")
    manager.open("/import/")
    manager.attach("File", str(file))
    manager.write("Name for a new tester", "Load tester")
    manager.press("Look at the file")
    expect(manager.field("pack")).to_have_value("pack")
    manager.press("Try the lines")
    title = manager.page.get_by_role("heading", level=1)
    expect(title).to_have_text("2 checks would be stored, 1 refused")
    expect(manager.page.get_by_role("main")).to_contain_text(testers.NOBODY)
    assert VoltageCheck.objects.count() == before
    manager.press("Store the good lines")
    expect(title).to_have_text("2 stored, 1 refused")
    assert VoltageCheck.objects.count() == before + 2
