// Ids that a phone makes by itself: UUID version 7 (RFC 9562), from getRandomValues, so that a page without https
// can make them too. The time in an id is the phone's and is read for nothing.

const SMALL_STEP_MS = 10_000;

// The time for the next id: a clock that steps back a little keeps the order, one that was set anew is followed.
export const idTime = (now, last) => (last > now && last - now <= SMALL_STEP_MS ? last : now);

// seq is the phone's own counter: within one millisecond its last 12 bits keep the order.
export function newId(milliseconds, seq, random = crypto.getRandomValues(new Uint8Array(8))) {
  const time = milliseconds.toString(16).padStart(12, "0");
  const counter = (seq & 0xfff).toString(16).padStart(3, "0");
  const rest = Uint8Array.from(random);
  rest[0] = 0x80 | (rest[0] & 0x3f);
  const tail = Array.from(rest, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return `${time.slice(0, 8)}-${time.slice(8)}-7${counter}-${tail.slice(0, 4)}-${tail.slice(4)}`;
}

// RFC 3339 with the phone's offset: 2026-06-20T09:00:00.000-05:00.
export function stamped(moment = new Date()) {
  const minutes = -moment.getTimezoneOffset();
  const local = new Date(moment.getTime() + minutes * 60_000).toISOString().slice(0, -1);
  const two = (value) => String(Math.trunc(value)).padStart(2, "0");
  return `${local}${minutes < 0 ? "-" : "+"}${two(Math.abs(minutes) / 60)}:${two(Math.abs(minutes) % 60)}`;
}
