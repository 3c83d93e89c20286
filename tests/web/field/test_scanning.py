"""Tags are read by the camera, by a photo or typed, with no network and no other host, and never two at once."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import Browser, Page

from labels import payload, qr
from tests.web.field.conftest import LOT, Phone, enter, entries, phone_of
from tests.web.field.office import Between
from tests.web.live import chromium

WIDTH, HEIGHT = 640, 480
OTHER_CODE = "E0F14CSE"
CODE = "7K2M9QXQ"


def symbol(text: str, module: int = 5) -> Image.Image:
    """The printed tag's own symbol with its quiet zone, as the label draws it."""
    grid = qr.matrix(text, error="H")
    side = len(grid) + 2 * qr.QUIET
    picture = Image.new("L", (side, side), 255)
    for y, row in enumerate(grid):
        for x, dark in enumerate(row):
            if dark:
                picture.putpixel((x + qr.QUIET, y + qr.QUIET), 0)
    return picture.resize((side * module, side * module), Image.Resampling.NEAREST)


def frame(texts: Sequence[str], module: int = 5) -> Image.Image:
    """What a camera sees: one tag or two, side by side before something grey."""
    picture = Image.new("L", (WIDTH, HEIGHT), 190)
    for place, text in enumerate(texts):
        tag = symbol(text, module)
        x = (WIDTH * (2 * place + 1)) // (2 * len(texts)) - tag.width // 2
        picture.paste(tag, (x, (HEIGHT - tag.height) // 2))
    return picture


def written(path: Path, pictures: Sequence[Image.Image]) -> Path:
    """A stream of frames as Chromium's fake camera reads it: YUV4MPEG2, 4:2:0."""
    half = bytes([128]) * (WIDTH * HEIGHT // 4)
    with path.open("wb") as file:
        file.write(f"YUV4MPEG2 W{WIDTH} H{HEIGHT} F10:1 Ip A1:1 C420jpeg\n".encode())
        for picture in pictures:
            file.write(b"FRAME\n" + picture.tobytes() + half + half)
    return path


def png(texts: Sequence[str]) -> dict[str, Any]:
    file = io.BytesIO()
    frame(texts).save(file, "PNG")
    return {"name": "tag.png", "mimeType": "image/png", "buffer": file.getvalue()}


def url(address: str, code: str) -> str:
    return payload.url(address, code)


def cored(page: Page) -> str:
    """A lot cored on this phone, whose bag waits for its tag; the lot's key."""
    lot = enter(page, "register lot", LOT)
    ref = {"entry": lot["event_id"]}
    plan = {"lot": ref, "seed": 7, "cores": 20, "picks": [{"bale": 1, "cores": 20}]}
    enter(page, "plan coring", plan)
    enter(page, "core lot", {"lot": ref, "bales": {"1": 20}, "entry": "end", "deviations": []})
    return str(lot["event_id"])


def bags(phone: Phone) -> Page:
    """The page that binds a tag to that bag, out of signal."""
    phone.ready()
    phone.offline()
    phone.between.cut = True
    page = phone.open("lot")
    key = cored(page)
    page.goto(f"{phone.address}/field/bag?lot={key}")
    page.locator("#typed").wait_for()
    return page


def bound(page: Page) -> list[tuple[str, str]]:
    return [(one["payload"]["code"], one["how"]) for one in entries(page) if one["kind"] == "bag cores"]


@pytest.fixture
def film(tmp_path: Path) -> Path:
    return tmp_path / "camera.y4m"


@pytest.fixture
def seen(browser: Browser, office: tuple[str, Between], film: Path) -> Iterator[Any]:
    """seen([texts of a frame, ...]) is a phone whose camera sees these frames, over and over."""
    opened: list[Browser] = []

    def looking(frames: Sequence[Sequence[str]]) -> Phone:
        address = office[0]
        written(film, [frame([url(address, code) for code in codes]) for codes in frames])
        with_camera = chromium(
            browser.browser_type,
            "--use-fake-ui-for-media-stream",
            "--use-fake-device-for-media-stream",
            f"--use-file-for-fake-video-capture={film}",
        )
        opened.append(with_camera)
        return phone_of(with_camera, office)

    yield looking
    for one in opened:
        one.close()


def test_the_camera_reads_a_tag_out_of_signal_and_asks_no_other_host(seen: Any) -> None:
    phone = seen([[CODE]])
    page = bags(phone)
    phone.requests.clear()
    page.locator("#camera").click()
    page.locator("#sign", has_text="Saved on this phone").wait_for()
    page.locator("#bound", has_text="7K2M-9QXQ").wait_for()
    assert bound(page) == [(CODE, "camera")]
    assert {
        re.sub(r"^(\w+://[^/]+).*", r"\1", one) for one in phone.requests if not one.startswith("blob:")
    } <= {phone.address}


def test_two_tags_in_one_frame_take_neither(seen: Any) -> None:
    phone = seen([[CODE, OTHER_CODE]])
    page = bags(phone)
    page.locator("#camera").click()
    page.locator("#sign", has_text="Two tags in view").wait_for()
    page.wait_for_timeout(2500)
    assert bound(page) == []
    assert page.locator("#sign", has_text="Two tags in view").is_visible()


def test_the_same_tag_in_frame_after_frame_is_taken_once(seen: Any) -> None:
    phone = seen([[CODE]])
    phone.ready()
    page = phone.open("hand-over")
    page.locator("#way-out").click()
    page.wait_for_timeout(350)
    page.locator("#camera").click()
    page.locator("#sign", has_text="On the list").wait_for()
    page.wait_for_timeout(2600)
    assert page.locator("#sign", has_text="On the list").is_visible()
    assert page.locator("#bags input").count() == 1


# Every stream that the page was given, so that a test can ask whether it still runs.
WATCHED_CAMERA = """
window.streams = [];
const real = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
navigator.mediaDevices.getUserMedia = async (asked) => {
  const stream = await real(asked);
  window.streams.push(stream);
  return stream;
};"""
TRACKS = "window.streams.flatMap((stream) => stream.getTracks().map((track) => track.readyState))"


def test_the_camera_goes_out_once_the_list_is_saved(seen: Any) -> None:
    phone = seen([[CODE]])
    phone.context.add_init_script(WATCHED_CAMERA)
    phone.ready()
    page = phone.open("hand-over")
    page.locator("#way-out").click()
    page.wait_for_timeout(350)
    page.locator("#camera").click()
    page.locator("#sign", has_text="On the list").wait_for()
    assert page.evaluate(TRACKS) == ["live"]
    page.locator("#save").click()
    page.locator("#sign", has_text="Saved on this phone").wait_for()
    assert page.evaluate(TRACKS) == ["ended"]


NO_CAMERA = "Object.defineProperty(navigator, 'mediaDevices', { value: undefined });"


def test_without_a_camera_a_photo_and_typing_are_there_at_once_and_the_photo_is_read(phone: Phone) -> None:
    phone.context.add_init_script(NO_CAMERA)
    page = bags(phone)
    page.reload()
    page.locator("#tag-photo").wait_for(state="attached")
    page.locator("#typed").wait_for()
    assert page.locator("#camera").count() == 0
    assert "take a photo of the tag" in page.locator("#no-camera").inner_text()
    page.set_input_files("#tag-photo", png([url(phone.address, CODE)]))
    page.locator("#bound", has_text="7K2M-9QXQ").wait_for()
    assert bound(page) == [(CODE, "photo")]


def test_a_photo_of_two_tags_takes_neither_and_one_of_none_says_so(phone: Phone) -> None:
    page = bags(phone)
    page.set_input_files("#tag-photo", png([url(phone.address, CODE), url(phone.address, OTHER_CODE)]))
    page.locator("#sign", has_text="Two tags in view").wait_for()
    page.wait_for_timeout(400)
    page.set_input_files("#tag-photo", png([]))
    page.locator("#sign", has_text="No tag in this photo").wait_for()
    page.set_input_files("#tag-photo", png(["HTTPS://ELSEWHERE.EXAMPLE/T/7K2M9QXQ"]))
    page.locator("#sign", has_text="Not taken").wait_for()
    assert bound(page) == []


def test_a_typed_code_shows_the_lot_and_waits_for_a_tap(phone: Phone) -> None:
    page = bags(phone)
    page.fill("#typed", "7k2m-9qxq")
    page.press("#typed", "Enter")
    page.locator("#asked", has_text="Long field, cutting 2").wait_for()
    assert "2026-06-01" in page.locator("#asked").inner_text()
    page.wait_for_timeout(500)
    assert bound(page) == []
    page.locator("#take").click()
    page.locator("#bound").wait_for()
    assert bound(page) == [(CODE, "typed")]


def test_a_typed_code_with_a_wrong_character_is_refused_in_words(phone: Phone) -> None:
    page = bags(phone)
    page.fill("#typed", "7K2M9QXR")
    page.locator("#look").click()
    page.locator("#sign", has_text="One character is wrong").wait_for()
    assert page.locator("#take").count() == 0 and bound(page) == []


def test_a_hand_scanner_needs_no_tap(phone: Phone) -> None:
    page = bags(phone)
    page.locator("h1").click()
    page.keyboard.type(url(phone.address, CODE), delay=3)
    page.keyboard.press("Enter")
    page.locator("#bound", has_text="7K2M-9QXQ").wait_for()
    assert bound(page) == [(CODE, "scanner")]


def test_a_tag_that_is_on_a_bag_is_not_bound_again(phone: Phone) -> None:
    page = bags(phone)
    page.fill("#typed", CODE)
    page.press("#typed", "Enter")
    page.locator("#take").click()
    page.locator("#bound").wait_for()
    key = cored(page)
    page.goto(f"{phone.address}/field/bag?lot={key}")
    page.fill("#typed", CODE)
    page.press("#typed", "Enter")
    page.locator("#take").click()
    page.locator("#sign", has_text="A tag is never moved").wait_for()
    assert len(bound(page)) == 1


TORCH = """
const canvas = document.createElement("canvas");
canvas.getContext("2d").fillRect(0, 0, 10, 10);
window.lit = false;
window.stubborn = false;
navigator.mediaDevices.getUserMedia = async () => {
  const stream = canvas.captureStream(5);
  const [track] = stream.getVideoTracks();
  if (CAN) track.getCapabilities = () => ({ torch: true });
  track.getSettings = () => ({ torch: window.lit });
  track.applyConstraints = async ({ advanced }) => { if (!window.stubborn) window.lit = advanced[0].torch; };
  return stream;
};
"""


@pytest.mark.parametrize("can", [True, False])
def test_the_light_has_a_button_only_where_the_camera_reports_one_and_says_its_real_state(
    phone: Phone, can: bool
) -> None:
    page = bags(phone)
    page.evaluate(f"void (() => {{{TORCH.replace('CAN', str(can).lower())}}})()")
    page.locator("#camera").click()
    page.locator("#close-camera").wait_for()
    assert page.locator("#torch").count() == int(can)
    if not can:
        return
    light = page.locator("#torch")
    assert light.inner_text() == "Light is off: switch it on"
    page.wait_for_timeout(350)
    light.click()
    page.locator("#torch", has_text="Light is on").wait_for()
    page.evaluate("window.stubborn = true")
    light.click()
    page.wait_for_timeout(300)
    assert light.inner_text() == "Light is on: switch it off"


DENIED = (
    "navigator.mediaDevices.getUserMedia = async () => { throw new DOMException('', 'NotAllowedError'); }"
)


def test_a_camera_that_is_not_allowed_leads_to_photo_and_typing(phone: Phone) -> None:
    page = bags(phone)
    page.evaluate(f"void ({DENIED})")
    page.locator("#camera").click()
    page.locator("#sign", has_text="does not allow the camera").wait_for()
    assert page.locator("#tag-photo").count() == 1 and page.locator("#camera").is_visible()


HEARD = """
window.tones = [];
window.AudioContext = class {
  currentTime = 0;
  async resume() {}
  createOscillator() {
    const frequency = { set value(hertz) { window.tones.push(hertz); } };
    return { frequency, connect() {}, start() {}, stop() {} };
  }
};
"""


def test_each_result_has_its_own_word_colour_and_sound_and_is_said_to_a_screen_reader(phone: Phone) -> None:
    phone.context.add_init_script(HEARD)
    page = bags(phone)
    assert page.locator("#sign").get_attribute("role") == "status"
    colours, tones = [], []
    for code, word in (("7K2M9QXR", "Not taken"), (CODE, "Saved on this phone")):
        page.evaluate("window.tones = []")
        page.fill("#typed", code)
        page.press("#typed", "Enter")
        if code == CODE:
            page.locator("#take").click()
        page.locator("#sign", has_text=word).wait_for()
        colours.append(page.locator("#sign").evaluate("(sign) => getComputedStyle(sign).backgroundColor"))
        tones.append(tuple(page.evaluate("window.tones")))
        box = page.locator("#sign").bounding_box()
        assert box is not None and box["width"] == 360
    assert len(set(colours)) == 2
    assert tones == [(300, 300), (1200,)]


def test_without_the_reader_the_page_says_so_and_typing_works(
    browser: Browser, office: tuple[str, Between], monkeypatch: pytest.MonkeyPatch
) -> None:
    from tracker.web.field import shell

    monkeypatch.setattr(shell, "stands", lambda: False)
    shell._version.cache_clear()
    phone = phone_of(browser, office)
    page = bags(phone)
    assert "the office's reader is not installed" in page.locator("#no-camera").inner_text()
    assert page.locator("#tag-photo").count() == 0 and page.locator("#camera").count() == 0
    page.fill("#typed", CODE)
    page.press("#typed", "Enter")
    page.locator("#take").click()
    page.locator("#bound").wait_for()
    phone.context.close()
    shell._version.cache_clear()


def test_only_pages_that_read_tags_may_compile_the_reader(office: tuple[str, Between]) -> None:
    client = office[1].app.test_client()
    allowed = {
        path: "'wasm-unsafe-eval'" in client.get(f"/field/{path}").headers["Content-Security-Policy"]
        for path in ("", "lot", "walk", "bag", "hand-over", "tags", "unsent", "phone", "paper")
    }
    assert {path for path, may in allowed.items() if may} == {"bag", "hand-over", "tags"}
    assert "unsafe" not in client.get("/field/worker.js").headers["Content-Security-Policy"]
