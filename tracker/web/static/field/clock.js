// How far the phone's clock is from the office's, and whether it was set while nobody looked. Entries carry both, and
// the office decides; nothing here refuses an entry because of a clock.
import { change, kept } from "./store.js";

const SAMPLES = 10;
const JUMP_MS = 2_000;
// The wall clock's zero by the page's own steady clock; it moves only if the wall clock is set.
const zero = () => Date.now() - performance.now();
let base = zero();

// The steady clock of many phones stands while they sleep, which looks like a clock set ahead. So what was gained while
// the page was hidden counts for nothing; time never runs backwards in a sleep.
globalThis.document?.addEventListener("visibilitychange", () => {
  if (document.visibilityState === "visible") base = Math.max(base, zero());
});

const moved = (found) =>
  Math.abs(zero() - base) > JUMP_MS || (found?.last !== undefined && Date.now() < found.last - JUMP_MS);

// One answer of the office: offset = office - (sent + got) / 2, all in ms, and the round trip.
export const sampled = (office, sent, got) => ({ offset: Math.round(office - (sent + got) / 2), trip: got - sent });

// Of the last ten the one with the shortest way, which knows best.
export const best = (samples) =>
  samples.length ? samples.reduce((least, one) => (one.trip < least.trip ? one : least)).offset : null;

// Notes an answer's time. A clock that was set since then makes all earlier samples worthless.
export const heard = (office, sent, got) =>
  change("clock", (found) => {
    const before = found?.jumped || moved(found) ? [] : found?.samples ?? [];
    base = zero();
    return { samples: [...before, sampled(office, sent, got)].slice(-SAMPLES), last: Date.now(), jumped: false };
  });

// {clock_offset_ms, clock_jumped} for an entry made now: the best estimate, and whether the clock was set after it.
export async function stateOfClock() {
  const found = await change("clock", (was) => ({
    samples: was?.samples ?? [], jumped: Boolean(was?.jumped || moved(was)), last: Date.now(),
  }));
  return { clock_offset_ms: best(found.samples), clock_jumped: found.jumped };
}

// In words for the page about this phone; null while nothing is known.
export async function clockInWords() {
  const found = await kept("clock");
  const offset = best(found?.samples ?? []);
  if (offset === null) return null;
  const minutes = Math.round(Math.abs(offset) / 60_000);
  if (minutes < 2) return { good: true, words: "Right, by the office's clock" };
  const said = minutes < 120 ? `${minutes} min` : minutes < 2880 ? `${Math.round(minutes / 60)} h` : `${Math.round(minutes / 1440)} days`;
  return { good: false, words: `${said} ${offset > 0 ? "slow" : "fast"}` };
}
