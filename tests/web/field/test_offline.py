"""The pages open with no network, entries are on the medium before anything says so, and none is lost or doubled."""

from __future__ import annotations

from tests.web.field.conftest import LOT, Phone, enter, entries

PAGES = {
    "": "Today",
    "lot": "Register a lot",
    "walk?lot=1": "Coring walk",
    "bag": "Bind the bag",
    "hand-over": "Hand over",
    "tags": "Your tags",
    "unsent": "Not sent yet",
    "phone": "This phone",
    "paper": "From paper",
}


def test_every_field_page_opens_cold_with_no_network_after_one_visit(phone: Phone) -> None:
    phone.ready()
    phone.offline()
    phone.between.cut = True
    for path, title in PAGES.items():
        page = phone.open(path)
        assert page.locator("h1").inner_text() == title
        assert page.locator("noscript").count() == 1
        page.close()
    page = phone.open("bag")
    enter(page, "register lot", LOT)
    page.goto(f"{phone.address}/field/")
    page.get_by_role("link", name="Long field, cutting 2").first.wait_for()
    page.get_by_text("1 not sent").wait_for()


KEPT = """async () => {
  const kept = await Promise.all((await caches.keys()).map((name) => caches.open(name)));
  const asked = await Promise.all(kept.map((one) => one.keys()));
  return asked.flat().map((request) => new URL(request.url).pathname);
}"""


def test_what_is_not_of_the_shell_is_never_kept_by_the_worker(phone: Phone) -> None:
    phone.ready()
    page = phone.open()
    kept = page.evaluate(KEPT)
    assert {"/field/", "/field/bag", "/static/scan.js", "/static/reader/zxing_reader.wasm"} <= set(kept)
    assert not {"/field/pack", "/field/entries", "/", "/field/load"} & set(kept)
    for path in kept:
        if path.startswith("/field/") and not path.endswith("webmanifest"):
            text = page.evaluate("(path) => caches.match(path).then((kept) => kept.text())", path)
            assert "Tove" not in text and "Oda" not in text, path


WATCHED = """
window.asked = [];
const real = IDBDatabase.prototype.transaction;
IDBDatabase.prototype.transaction = function (names, mode, options) {
  window.asked.push([mode, options?.durability]);
  return real.call(this, names, mode, options);
};
"""


def test_whatever_is_written_is_asked_for_strictly(phone: Phone) -> None:
    phone.context.add_init_script(WATCHED)
    phone.ready()
    page = phone.open("lot")
    enter(page, "register lot", LOT)
    asked = page.evaluate("window.asked")
    writes = [options for mode, options in asked if mode == "readwrite"]
    assert len(writes) >= 2 and set(writes) == {"strict"}


FULL = """
IDBObjectStore.prototype.add = function () { throw new DOMException("The disk is full", "QuotaExceededError"); }
"""


def test_no_sign_of_success_where_nothing_could_be_kept(phone: Phone) -> None:
    phone.ready()
    page = phone.open()
    made = enter(page, "register lot", LOT)
    enter(page, "plan coring", {"lot": {"entry": made["event_id"]}, "seed": 7, "cores": 20, "probe": {}})
    page.goto(f"{phone.address}/field/hand-over")
    page.evaluate(f"void ({FULL})")
    page.get_by_role("button", name="I take bags out of a place").click()
    page.fill("#typed", "7K2M-9QXQ")
    page.press("#typed", "Enter")
    page.locator("#take").click()
    page.wait_for_timeout(400)
    page.locator("#save").click()
    page.locator("#sign", has_text="Not saved").wait_for()
    assert page.locator("#sign", has_text="Saved on this phone").count() == 0
    assert [one["kind"] for one in entries(page)] == ["register lot", "plan coring"]
