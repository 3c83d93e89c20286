// The live camera: started by a tap, kept through a session, stopped while nobody looks.
import { button, h } from "./dom.js";
import { readPicture } from "./reader.js";
import { kept, keep } from "./store.js";

const EVERY_MS = 150;

export class Camera {
  #stream = null;
  #awake = null;
  #going = false;

  // texts(list) hears what each frame says, if anything; failed(words) that there is no picture.
  constructor(place, texts, failed) {
    Object.assign(this, { place, texts, failed });
    document.addEventListener("visibilitychange", () => (document.hidden ? this.#end() : this.#going && this.begin()));
  }

  async begin() {
    this.#going = true;
    const chosen = await kept("camera");
    const wanted = chosen ? { deviceId: { ideal: chosen } } : { facingMode: { ideal: "environment" } };
    const [read] = await Promise.all([readPicture(), this.#open({ ...wanted, width: { ideal: 1280 }, height: { ideal: 720 } })]);
    if (!this.#stream) return;
    if (!read) return this.#fail("This browser cannot read tags. Type the code instead.");
    const awake = await navigator.wakeLock?.request("screen").catch(() => null);
    // Closed while the lock was asked for: nothing is kept awake for nobody.
    if (!this.#stream) return awake?.release().catch(() => {});
    this.#awake = awake;
    await this.#draw();
    this.#watch(read);
  }

  end() {
    this.#going = false;
    this.#end();
  }

  async #open(video) {
    try {
      const stream = await navigator.mediaDevices.getUserMedia({ video, audio: false });
      // The phone may have asked for leave meanwhile, and whoever wanted the camera have gone on without it.
      if (!this.#going || document.hidden || this.#stream) return stream.getTracks().forEach((track) => track.stop());
      this.#stream = stream;
    } catch (error) {
      const denied = error.name === "NotAllowedError";
      this.#fail(denied ? "The phone does not allow the camera for this page. Allow it in the page's settings, or take a photo or type the code." : "The camera does not answer. Take a photo or type the code.");
    }
  }

  #fail(words) {
    this.end();
    this.failed(words);
  }

  async #draw() {
    this.video = h("video", { playsinline: true, muted: true, autoplay: true, "aria-label": "What the camera sees" });
    this.video.muted = true;
    this.video.srcObject = this.#stream;
    const track = this.#stream.getVideoTracks()[0];
    const made = await this.#buttons(track);
    if (!this.#stream) return;
    this.place.replaceChildren(this.video, ...made);
    await this.video.play().catch(() => {});
    this.video.scrollIntoView({ block: "center" });
  }

  async #buttons(track) {
    const made = [];
    if (track.getCapabilities?.().torch) made.push(this.#torch(track));
    const all = (await navigator.mediaDevices.enumerateDevices?.()) ?? [];
    const cameras = all.filter((one) => one.kind === "videoinput");
    if (cameras.length > 1) made.push(button("Other camera", () => this.#other(cameras, track), { class: "second" }));
    return [...made, button("Close the camera", () => this.stop(), { class: "second", id: "close-camera" })];
  }

  // The light's real state is read back: a phone that is hot or low may refuse it.
  #torch(track) {
    const say = () => (light.textContent = track.getSettings().torch ? "Light is on: switch it off" : "Light is off: switch it on");
    const light = button("", async () => {
      await track.applyConstraints({ advanced: [{ torch: !track.getSettings().torch }] }).catch(() => {});
      say();
    }, { class: "second", id: "torch" });
    say();
    return light;
  }

  async #other(cameras, track) {
    const at = cameras.findIndex((one) => one.deviceId === track.getSettings().deviceId);
    await keep("camera", cameras[(at + 1) % cameras.length].deviceId);
    this.#end();
    await this.begin();
  }

  async #watch(read) {
    const stream = this.#stream;
    while (this.#stream === stream) {
      const began = performance.now();
      if (this.video.readyState >= 2 && this.video.videoWidth) {
        const texts = await read(this.video).catch(() => []);
        if (texts.length && this.#stream === stream) this.texts(texts);
      }
      await new Promise((done) => setTimeout(done, Math.max(20, EVERY_MS - (performance.now() - began))));
    }
  }

  stop() {
    this.#fail("The camera is closed.");
  }

  #end() {
    for (const track of this.#stream?.getTracks() ?? []) track.stop();
    this.#stream = null;
    this.#awake?.release().catch(() => {});
    this.#awake = null;
    this.place.replaceChildren();
  }
}
