// Scanning a tag: by the camera, by a photo, by a scanner that plays a keyboard, or typed. One resolver for all, the
// same as at the bench. A typed code is shown with what it means and waits for a tap; a scanned one does not.
import { resolve, ScanCatcher, WORDS } from "../scan.js";
import { button, h, shown, sign } from "./dom.js";
import { Camera } from "./camera.js";
import { hasReader, readPicture } from "./reader.js";

const { prefix, layouts } = JSON.parse(document.getElementById("scanning").textContent);
const HOW = { camera: "camera", photo: "photo", typed: "typed", scan: "scanner" };

// onCode(code, how) takes a tag; inWords(code) says what it is before a typed one is taken; deed names the tap.
export class Scanner {
  #crowded = false;
  #camera = null;

  constructor(place, { onCode, inWords, deed = "Take this tag" }) {
    Object.assign(this, { place, onCode, inWords, deed });
    this.catcher = new ScanCatcher({
      prefix, layouts,
      onHeard: (found) => !this.#crowded && found.source !== "typed" && sign("good", "Tag read", shown(found.value)),
      onScan: (found) => this.#taken(found),
      onRefused: ({ code, words }) => this.#refused(code, words),
    });
    this.draw();
  }

  get live() {
    return isSecureContext && Boolean(navigator.mediaDevices?.getUserMedia) && hasReader();
  }

  draw() {
    const file = h("input", { type: "file", accept: "image/*", capture: "environment", id: "tag-photo" });
    file.addEventListener("change", () => this.#photo(file));
    this.start = this.live ? button("Scan with the camera", () => this.#begin(), { id: "camera" }) : null;
    this.view = h("div", { id: "camera-view" });
    this.asked = h("div", { id: "asked", role: "status" });
    this.typed = h("input", {
      id: "typed", "data-scan": true, autocomplete: "off", autocapitalize: "characters", spellcheck: "false", autocorrect: "off", enterkeyhint: "done",
    });
    const look = () => this.catcher.offer(this.typed.value, { source: "typed" });
    this.place.replaceChildren(...[
      this.live ? null : h("p", { class: "told caution", id: "no-camera" }, this.#whyNot()),
      this.start, this.view,
      hasReader() ? h("label", { class: "photo" }, "Take a photo of the tag", file) : null,
      h("label", { for: "typed" }, "Or type the 8 characters on the tag"), this.typed,
      button("Look at what I typed", look, { class: "second", id: "look" }),
      this.asked,
    ].filter(Boolean));
  }

  // Nothing is heard or seen by it any more, and its place is empty.
  end() {
    this.catcher.stop();
    this.#camera?.end();
    this.place.replaceChildren();
  }

  #whyNot() {
    const still = hasReader() ? "take a photo of the tag, use a hand scanner, or type the code" : "use a hand scanner, or type the code";
    if (!isSecureContext) return `The live camera and opening without a network need an address that begins with https. Here you can ${still}.`;
    if (!hasReader()) return `This browser reads no QR by itself and the office's reader is not installed. Here you can ${still}.`;
    return `No camera answers on this device. Here you can ${still}.`;
  }

  async #begin() {
    this.#camera ??= new Camera(this.view, (texts) => this.frame(texts, "camera"), (words) => this.#noCamera(words));
    this.start.hidden = true;
    await this.#camera.begin();
  }

  #noCamera(words) {
    this.start.hidden = false;
    sign("caution", "No camera", words);
  }

  // All texts of one picture. Two different tags in view: neither is taken.
  frame(texts, source) {
    const values = new Set(texts.map((text) => resolve(text, prefix, layouts).value).filter(Boolean));
    this.#crowded = values.size > 1;
    for (const text of new Set(texts)) {
      if (source === "camera" && !values.size && texts.length) {
        this.#strange(text);
        break;
      }
      this.catcher.offer(text, { source });
    }
  }

  // Something else with a QR on it stays in view for many frames, and is said once in a while.
  #strange(text) {
    if (this.strangeAt && performance.now() - this.strangeAt < 2000) return;
    this.strangeAt = performance.now();
    this.catcher.offer(text, { source: "camera" });
  }

  async #photo(file) {
    const read = await readPicture();
    const picture = file.files[0] && (await createImageBitmap(file.files[0]).catch(() => null));
    file.value = "";
    if (!read) return sign("stop", "Cannot read pictures here", "Type the code instead.");
    const texts = picture ? await read(picture) : [];
    if (!texts.length) return sign("stop", "No tag in this photo", "Go nearer, hold still, and keep the whole square in view.");
    this.frame(texts, "photo");
  }

  #refused(code, words) {
    this.asked.replaceChildren();
    if (code === "already-scanned") return sign("caution", "Already scanned");
    if (code === "two-tags-at-once") return sign("stop", "Two tags in view", WORDS[code]);
    sign("stop", "Not taken", words);
  }

  async #taken(found) {
    if (found.kind === "token") return sign("stop", "That is the producer's stub", "Scan the part of the tag that is on the bag.");
    if (found.source !== "typed") return this.onCode(found.value, HOW[found.source] ?? found.source);
    this.typed.value = "";
    const take = async () => {
      this.asked.replaceChildren();
      await this.onCode(found.value, "typed");
    };
    this.asked.replaceChildren(
      h("p", { class: "code" }, shown(found.value)), h("p", {}, await this.inWords(found.value)),
      button(this.deed, take, { id: "take" }),
      button("No, another", () => this.asked.replaceChildren(), { class: "second" }));
    this.asked.scrollIntoView({ block: "center" });
  }
}

