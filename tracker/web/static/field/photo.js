// A photo made small enough to send from the edge of a network: at most 600 kB as base64.
const WIDEST = 1600;
const MOST_CHARACTERS = 600_000;

export async function small(file) {
  const picture = await createImageBitmap(file);
  let scale = Math.min(1, WIDEST / Math.max(picture.width, picture.height));
  for (let quality = 0.8; quality > 0.2; quality -= 0.15, scale *= 0.8) {
    const canvas = document.createElement("canvas");
    canvas.width = Math.max(1, Math.round(picture.width * scale));
    canvas.height = Math.max(1, Math.round(picture.height * scale));
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    const text = canvas.toDataURL("image/jpeg", quality).split(",")[1];
    if (text.length <= MOST_CHARACTERS) return text;
  }
  return null;
}
