"""Make the pictures of the documents anew, from the demonstration, and write down what each page said.

    .venv/bin/python docs/pictures/make.py

It plays the invented season, signs in as each person, and takes the pages in a headless Chromium, as small PNGs.
Beside them `pages.json` keeps a hash of each page's words without its figures; tests/rules/test_pictures.py makes the
hashes again and fails when a page says something else than its picture. Colours are not in the hash: look, when you
change them.
"""

from __future__ import annotations

import hashlib
import json
import re
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
SIZES = {"phone": (360, 640), "desk": (1000, 720)}
LARGEST = 60_000


@dataclass(frozen=True)
class Shot:
    """One picture: its file's name, the page, who looks at it (empty for a producer), and the size.

    down: the heading to scroll to, else the page's top; first: the form sent before: its path, a name, a value.
    """

    name: str
    path: str
    who: str
    size: str
    down: str = ""
    first: tuple[str, str, str] | None = None


SHOTS = (
    Shot("field-today", "/field/", "bram-teasel", "phone"),
    Shot("field-walk", "/field/walk?lot=39", "bram-teasel", "phone"),
    Shot("first-page", "/", "peder-voss", "desk"),
    Shot("receive", "/desk/receive/KWYGZGWK", "peder-voss", "desk"),
    Shot(
        "weigh", "/desk/weigh/76W2JK8T", "peder-voss", "desk", first=("/desk/balance", "balance", "balance 1")
    ),
    Shot("oven", "/oven/8", "peder-voss", "desk"),
    Shot("mill", "/mill/KRVYRZXJ", "maud-ashgrove", "desk"),
    Shot("results", "/results", "maud-ashgrove", "desk"),
    Shot("release", "/release/QFF12YVX", "maud-ashgrove", "desk"),
    Shot("hay", "/T/{stub of lot 12}", "", "phone"),
    Shot("hay-figures", "/T/{stub of lot 12}", "", "phone", "What is in the hay"),
    Shot("way", "/way/F11P12SC", "tobias-renwick", "desk"),
    Shot("programme", "/programme", "tobias-renwick", "desk"),
    Shot("year", "/year", "tobias-renwick", "desk"),
    Shot("setting", "/settings/oven/oven 1", "tobias-renwick", "desk"),
)


def played(folder: Path) -> Any:
    """The invented season, without its papers."""
    from tracker.demo import acted

    return acted(folder, lambda what, done, total: None)


def app_of(season: Any, secret: str = "a key that only pictures sign forms with") -> Any:
    """The doors on the season, at the clock of its last day."""
    from tracker.app import create_app
    from tracker.demo.season import SETTINGS

    return create_app(season.database, SETTINGS, secret, secure=False)


def token_of(season: Any, who: str) -> str:
    """A sign-in of that person, begun by the step that a right password leads to."""
    from sqlalchemy import select

    from tracker.steps.sign_in import begin, make_account
    from tracker.storage.access import Account

    with season.database.act("sign in", who, {}) as session:
        wanted = select(Account).where(Account.party_key == who)
        if session.scalar(wanted) is None:
            make_account(session, who, who, season.clock())
        return begin(session, session.scalars(wanted).one(), season.clock())


def address(season: Any, shot: Shot) -> str:
    """The page's path, with the stub's token where one is asked for."""
    from labels import payload
    from tracker.lookups.tag_owner import tag_owner

    wanted = re.search(r"\{stub of lot (\d+)\}", shot.path)
    if wanted is None:
        return shot.path
    with season.database.read() as session:
        for code, token in season.printed:
            if tag_owner(session, payload.shown(code)).lot == int(wanted[1]):
                return shot.path.replace(wanted[0], token)
    raise SystemExit(f"no stub of lot {wanted[1]}")


class _Words(HTMLParser):
    """What stands in headings, labels, buttons and column heads: the page's words, and not its data."""

    SAID = frozenset(("title", "h1", "h2", "h3", "label", "legend", "button", "th", "dt", "summary"))

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.said: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in self.SAID:
            self.open.append(tag)
            self.said.append(f"{tag}: ")

    def handle_endtag(self, tag: str) -> None:
        if self.open and self.open[-1] == tag:
            self.open.pop()

    def handle_data(self, data: str) -> None:
        if self.open:
            self.said[-1] += data


def words_of(html: str) -> list[str]:
    """The page's words in their order, each once, without figures and codes."""
    reader = _Words()
    reader.feed(html)
    plain = (" ".join(re.sub(r"\b[0-9A-Z-]*\d[0-9A-Z.,:-]*\b", "#", text).split()) for text in reader.said)
    return list(dict.fromkeys(plain))


def said_by_script(path: str) -> list[str]:
    """The sentences in the script that draws a page of the field; its shell says next to nothing."""
    page = path.removeprefix("/field/").partition("?")[0] or "today"
    script = ROOT / "tracker" / "web" / "static" / "field" / f"{page.replace('-', '_')}.js"
    return re.findall(r'"([^"\n]* [^"\n]*)"', script.read_text(encoding="utf-8"))


def hash_of(html: str, path: str) -> str:
    """What a page says, as 16 hexadecimal digits."""
    words = words_of(html) + (said_by_script(path) if path.startswith("/field/") else [])
    return hashlib.sha256("\n".join(words).encode()).hexdigest()[:16]


def hashes(season: Any) -> dict[str, str]:
    """Each picture's page as it is today, asked without a browser."""
    from tracker.web.shared.guard import COOKIE

    app = app_of(season)
    app.config["WTF_CSRF_ENABLED"] = False
    found = {}
    for shot in SHOTS:
        client = app.test_client()
        if shot.who:
            client.set_cookie(COOKIE, token_of(season, shot.who))
        if shot.first:
            path, name, value = shot.first
            client.post(path, data={name: value})
        answer = client.get(address(season, shot))
        if answer.status_code != 200:
            raise SystemExit(f"{shot.name}: {shot.path} answers {answer.status_code}")
        found[shot.name] = hash_of(answer.text, shot.path)
    return found


@contextmanager
def serving(season: Any) -> Iterator[str]:
    """The pages at an address of this machine."""
    import threading

    from waitress.server import create_server

    server = create_server(app_of(season), host="127.0.0.1", port=0, threads=4)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        yield f"http://localhost:{server.effective_port}"
    finally:
        server.close()
        thread.join(timeout=5)


def take(season: Any, told: Callable[[str], None]) -> None:
    """Take every picture."""
    from playwright.sync_api import sync_playwright

    from tests.web.live import chromium
    from tracker.web.shared.guard import COOKIE

    with serving(season) as base, sync_playwright() as playwright:
        browser = chromium(playwright.chromium)
        for shot in SHOTS:
            width, height = SIZES[shot.size]
            context = browser.new_context(viewport={"width": width, "height": height}, color_scheme="light")
            if shot.who:
                cookie = {"name": COOKIE, "value": token_of(season, shot.who), "url": base}
                context.add_cookies([cookie])
            page = context.new_page()
            if shot.path.startswith("/field/"):
                # The first visit takes the lots along; the second draws from them.
                page.goto(f"{base}/field/")
                page.locator("#next a").first.wait_for(timeout=30_000)
            page.goto(base + address(season, shot))
            if shot.first:
                page.locator(f"form[action='{shot.first[0]}'] button").first.click()
            page.wait_for_load_state("networkidle")
            if shot.down:
                page.get_by_role("heading", name=shot.down).first.evaluate(
                    "heading => heading.scrollIntoView()"
                )
            else:
                # What has the cursor may lie further down.
                page.evaluate("scrollTo(0, 0)")
            kept = small(page.screenshot())
            (HERE / f"{shot.name}.png").write_bytes(kept)
            told(f"{shot.name}.png: {len(kept) // 1000} kB")
            context.close()
        browser.close()


def small(png: bytes) -> bytes:
    """The picture in as many colours as keep it under LARGEST bytes."""
    import io

    from PIL import Image

    picture = Image.open(io.BytesIO(png)).convert("RGB")
    for colours in (32, 16, 8):
        file = io.BytesIO()
        picture.quantize(colours, dither=Image.Dither.NONE).save(file, "PNG", optimize=True)
        if file.tell() < LARGEST:
            break
    return file.getvalue()


def main() -> None:
    """Play, take, and write down what the pages said."""
    import tempfile

    sys.path.insert(0, str(ROOT))
    with tempfile.TemporaryDirectory() as folder:
        season = played(Path(folder) / "demo")
        found = hashes(season)
        take(season, print)
        season.database.close()
    (HERE / "pages.json").write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
