// A balance on a serial line, read by the page itself. It is only ever listened to: nothing is sent to it.
// Each line goes to the server, which reads it by the balance's profile; the page keeps no rule of its own.
const place = document.querySelector("[data-serial]");
const LINE_MS = 200; // A balance may send ten lines a second; the latest is what counts.

if (place && "serial" in navigator) begin(place);

function begin(place) {
  const form = place.closest("form");
  const box = form.querySelector("[name=grams]");
  const words = place.querySelector("[data-serial-words]");
  const speed = place.querySelector("[data-speed]");
  const say = (text) => (words.textContent = text);
  let before = null; // the line before this one, and when it came
  let asking = false;
  place.hidden = false;
  speed.value = localStorage.getItem("balance speed") ?? speed.value;
  speed.addEventListener("change", () => localStorage.setItem("balance speed", speed.value));

  place.querySelector("[data-connect]").addEventListener("click", async () => {
    try {
      await listen(await navigator.serial.requestPort());
    } catch (error) {
      say(`The balance could not be opened: ${error.message}`);
    }
  });
  // Once allowed, the line opens by itself on the next page.
  navigator.serial.getPorts().then(([port]) => port && listen(port)).catch((error) => say(error.message));

  async function listen(port) {
    await port.open({ baudRate: Number(speed.value) });
    say("Listening to the balance.");
    let kept = "";
    const text = port.readable.pipeThrough(new TextDecoderStream());
    for await (const part of lines(text)) {
      kept = (kept + part).slice(-400);
      const whole = kept.split(/[\r\n]+/);
      kept = whole.pop();
      const raw = whole.filter((line) => line.trim()).at(-1);
      if (raw) await heard(raw);
    }
  }

  async function* lines(stream) {
    const reader = stream.getReader();
    for (;;) {
      const { value, done } = await reader.read();
      if (done) return;
      yield value;
    }
  }

  async function heard(raw) {
    const now = performance.now();
    if (asking || (before && now - before.at < LINE_MS && before.raw === raw)) return;
    asking = true;
    try {
      const answer = await ask(raw, now);
      // An unstated steadiness counts from the first of the equal lines.
      if (!before || before.raw !== raw) before = { raw, at: now };
      show(raw, answer);
    } catch {
      say("The office does not answer. Type the weight, twice.");
    } finally {
      asking = false;
    }
  }

  async function ask(raw, now) {
    const seconds = before ? ((now - before.at) / 1000).toFixed(2) : "0";
    const answer = await fetch(place.dataset.line, {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-CSRFToken": form.querySelector("[name=csrf_token]").value },
      body: JSON.stringify({ balance: place.dataset.balance, raw, before: before && { raw: before.raw, seconds } }),
    });
    return answer.json();
  }

  function show(raw, answer) {
    // What is still on the pan from the last weighing is not the next one's weight.
    const still = sessionStorage.getItem("weighed line") === raw.trim();
    if (!still) sessionStorage.removeItem("weighed line");
    if (answer.refused || still) return say(still ? "Still the last weight: change the sack." : answer.words);
    say(answer.words);
    box.value = answer.grams;
    form.elements.raw.value = raw;
    if (!answer.storable || form.dataset.sent) return;
    sessionStorage.setItem("weighed line", raw.trim());
    form.requestSubmit();
  }
}
