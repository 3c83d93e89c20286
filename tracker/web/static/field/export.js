// The unsent entries as a file for the office: exactly what would have been sent, under the same ids.
import { body } from "./outbox.js";
import { keep } from "./store.js";

const two = (value) => String(value).padStart(2, "0");

export const exportName = "Entries that were not sent";

export async function exportFile(some, now = new Date()) {
  const given = await body(some);
  const day = `${now.getFullYear()}${two(now.getMonth() + 1)}${two(now.getDate())}`;
  await keep("exported", { at: now.getTime(), last: some.at(-1)?.seq ?? 0 });
  return new File([JSON.stringify(given, null, 1)], `unsent-${given.device.replaceAll("-", "").slice(-8)}-${day}.json`, { type: "application/json" });
}
